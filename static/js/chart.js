// Draws every [data-chart] figure from the figure the server made; knows no formula.

const plots = document.querySelectorAll("[data-chart]");

// The server names colours as they are printed; the page says what each is here, light or dark.
const PRINTED = {
  "#1D2324": "--ink",
  "#566063": "--quiet",
  "#DAD5C8": "--rule",
  "#8B8778": "--rule-strong",
  "#2F5D50": "--lichen",
  "#E2E8E6": "--envelope",
  "#7A4B2A": "--umber",
  "#3B5B7A": "--slate",
  "#8E2C2C": "--madder-text",
};

const colours = () => {
  const page = getComputedStyle(document.documentElement);
  return (printed) => page.getPropertyValue(PRINTED[printed] || "").trim() || printed;
};

const read = (plot, colour) => {
  const source = document.getElementById(plot.dataset.chart);
  const shown = (key, value) =>
    typeof value === "string" && value in PRINTED ? colour(value) : value;
  return source ? JSON.parse(source.textContent, shown) : null;
};

const draw = (plot) => {
  const figure = read(plot, colours());
  if (!figure || !window.Plotly) return;
  const options = { responsive: true, displaylogo: false, displayModeBar: false, ...(figure.config || {}) };
  window.Plotly.react(plot, figure.data, themed(figure.layout), options);
};

// Type comes from the page; the legend stands clear of the axis's words on narrow screens too.
const themed = (layout) => {
  const family = getComputedStyle(document.documentElement).getPropertyValue("--sans").trim();
  const legend = { ...layout.legend, y: -0.26, yanchor: "top" };
  return { ...layout, font: { ...layout.font, family }, legend };
};

document.fonts.ready.then(() => plots.forEach(draw));
document.addEventListener("htmx:afterSettle", () => plots.forEach(draw));

// While readings come in, typing goes before drawing.
let renewing = 0;
document.addEventListener("chart:renew", () => {
  clearTimeout(renewing);
  renewing = setTimeout(() => plots.forEach(draw), 120);
});
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => plots.forEach(draw));

// Another scale or direction is another figure of the server's.
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-chart-url]");
  if (!button) return;
  const plot = document.getElementById(button.dataset.chartFor);
  const answer = await fetch(button.dataset.chartUrl, { headers: { Accept: "application/json" } });
  if (!answer.ok) return;
  document.getElementById(plot.dataset.chart).textContent = await answer.text();
  button.parentElement.querySelectorAll("[data-chart-url]").forEach((other) => {
    other.setAttribute("aria-pressed", String(other === button));
  });
  draw(plot);
});
