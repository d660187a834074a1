// Saves a drawn chart as a PNG, in the colours of print on white, large enough to print.

const SIZE = { width: 1400, height: 900, scale: 2, format: "png" };

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-picture-of]");
  const plot = button && document.getElementById(button.dataset.pictureOf);
  const source = plot && document.getElementById(plot.dataset.chart);
  if (!source || !window.Plotly) return;
  const { data, layout } = JSON.parse(source.textContent);
  // A picture cannot see the page's own fonts; text is measured in what it will be drawn with.
  const font = { ...layout.font, family: "sans-serif", size: 16 };
  const legend = { ...layout.legend, y: -0.16, yanchor: "top" };
  const paper = { ...layout, font, legend, paper_bgcolor: "#FFFFFF", plot_bgcolor: "#FFFFFF" };
  window.Plotly.downloadImage({ data, layout: paper }, { ...SIZE, filename: button.dataset.pictureName });
});
