// Opening a run with the scanner: a sieve's label sets its place, from the top down; a bench's, a
// balance's or a shaker's label chooses it.
{
  const { note } = window.bench;
  const sieves = document.querySelector('textarea[name="sieves"]');

  const choose = (name, value) => {
    const choice = document.querySelector(`select[name="${name}"]`);
    const option = choice && [...choice.options].find((it) => it.value === String(value));
    if (!option) return false;
    choice.value = option.value;
    choice.dispatchEvent(new Event("change", { bubbles: true }));
    return true;
  };

  const place = (serial) => {
    const standing = sieves.value.split("\n").map((it) => it.trim()).filter(Boolean);
    const number = standing.indexOf(serial) + 1;
    if (number) note("scanned", `${serial} has its place already, number ${number} from the top.`);
    else standing.push(serial);
    sieves.value = `${standing.join("\n")}\n`;
    sieves.dispatchEvent(new Event("input", { bubbles: true }));
    return true;
  };

  window.bench.takeCode = (answer) => {
    if (answer.kind === "bench") return choose("bench", answer.key);
    if (answer.kind !== "equipment" || !sieves) return false;
    return answer.what === "sieve" ? place(answer.key) : choose(answer.what, answer.pk);
  };
}
