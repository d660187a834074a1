// A further increment: its row comes from the server and stands below those already weighed.
{
  const table = () => document.querySelector("[data-rows]");

  const open = async (link) => {
    const end = document.getElementById(link.dataset.before);
    const answer = await fetch(link.href + (table().dataset.gross === undefined ? "" : "?weigh=gross"), {
      headers: { "X-Asks-For": "row" },
    });
    if (!answer.ok) throw new Error(answer.statusText);
    const told = document.createElement("template");
    told.innerHTML = await answer.text();
    const row = told.content.querySelector("tr");
    const there = table().querySelector(`tr[data-name="${row.dataset.name}"]`);
    if (!there) end.before(row);
    (there || row).querySelector("[data-row-field]")?.focus();
  };

  document.addEventListener("click", async (event) => {
    const link = event.target.closest("a[data-before]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    try {
      await open(link);
    } catch {
      link.textContent = "+ increment: the server does not answer, try again";
    }
  });
}
