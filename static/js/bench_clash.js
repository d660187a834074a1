// Two values for one field: neither is taken for the other. The person says which, and why if
// theirs is replaced.
{
  const { question, button, newKey, queue } = window.bench;

  const typed = (entry) => (entry.tare_text ? `${entry.text} − ${entry.tare_text} g` : `${entry.text} g`);

  const bothValues = ({ theirs, ...entry }) => {
    const own = theirs.by_pk === window.bench.me.pk;
    const who = own ? "you entered" : theirs.by;
    const now = own ? "now you typed" : "you typed";
    return `${theirs.at} ${who} ${theirs.mass} g – ${now} ${typed(entry)}.`;
  };

  // What was typed goes out once more, as a correction of the value that the person saw.
  const corrected = async (entry, reason, correct) => {
    if (!reason.value.trim()) {
      reason.setAttribute("aria-invalid", "true");
      reason.focus();
      return;
    }
    const again = { key: newKey(), state: "waiting", tries: 0, over: entry.theirs.pk };
    await queue.change({ ...entry, ...again, reason: reason.value.trim() });
    await correct(entry, again);
  };

  const askClash = (entry, { about, label, keep, correct, more = [] }) => {
    const reason = Object.assign(document.createElement("input"), {
      maxLength: 400,
      placeholder: "Why is it corrected",
      className: "cell-input",
    });
    reason.setAttribute("aria-label", `Why ${typed(entry)} is right`);
    const correctIt = () => corrected(entry, reason, correct);
    reason.addEventListener("keydown", (event) => event.key === "Enter" && correctIt());
    const theirs = button(`Keep ${entry.theirs.mass} g`, () => keep(entry));
    const ours = button(`Correct it to ${typed(entry)}`, correctIt);
    for (const act of [theirs, ours, ...more]) act.className = "button button--plain";
    const asked = question(about, `${label}: ${bothValues(entry)}`, theirs, ...more, reason, ours);
    asked.classList.add("clash");
  };

  Object.assign(window.bench, { askClash, bothValues });
}
