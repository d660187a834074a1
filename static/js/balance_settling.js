// When a line of a balance is a new load, as bench_io/settling.py says for the gateway. The figure
// found here only tells one load from the next; what is weighed is read by the server.
{
  const ECHO_MS = 1000;
  const REPEATS = 3;
  const STEPS = 5;

  const figureIn = (line) => {
    const found = /([+-]?)\s*([0-9]+(?:[.,][0-9]+)?)/.exec(line);
    if (!found) return null;
    const text = found[2].replace(",", ".");
    const decimals = text.includes(".") ? text.length - text.indexOf(".") - 1 : 0;
    return { value: Number(found[1] === "-" ? `-${text}` : text), step: 10 ** -decimals };
  };

  const pressed = () => {
    let last = { line: "", at: -Infinity };
    return {
      take(line, at) {
        const isEcho = line === last.line && at - last.at < ECHO_MS;
        last = { line, at };
        return !isEcho;
      },
      forget() {},
    };
  };

  const streamed = (known) => {
    let last = known;
    let isGone = known === null;
    let resting = { line: null, count: 0 };
    const isOther = (figure) =>
      last === null || figure.value <= 0 || Math.abs(figure.value - last) > (STEPS + 0.5) * figure.step;
    return {
      take(line) {
        const figure = figureIn(line);
        if (!figure) return false;
        isGone = isGone || isOther(figure);
        if (figure.value <= 0) {
          last = null;
          resting = { line: null, count: 0 };
          return false;
        }
        resting = { line, count: line === resting.line ? resting.count + 1 : 1 };
        if (resting.count < REPEATS || !isGone) return false;
        last = figure.value;
        isGone = false;
        return true;
      },
      // The server refused the line, as one that had not settled: the load was not taken.
      forget() {
        last = null;
        isGone = true;
        resting = { line: resting.line, count: -Infinity };
      },
      get last() {
        return last;
      },
    };
  };

  window.balanceSettler = (streams, known = null) => (streams ? streamed(known) : pressed());
}
