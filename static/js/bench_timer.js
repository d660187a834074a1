// The timer of a shaking. It is kept in this browser, so that a reload does not stop it, and counts
// only while the shaker runs. It rings, says so in the title, and fills in the minutes.
{
  const { timers, line, note } = window.bench;
  const place = document.getElementById("timer");
  const run = Number(line.dataset.run);
  const TICK_MS = 250;
  const RING_EVERY_MS = 4000;
  const RINGS = 15;
  let title = document.title;
  const MINUTE_MS = 60_000;

  const face = place?.querySelector("[data-timer-face]");
  const words = place?.querySelector("[data-timer-words]");
  const acts = (name) => place.querySelector(`[data-timer-act="${name}"]`);
  const minutesField = () =>
    document.querySelector("[data-shaken-minutes], #hand-over [name=shaking_minutes]");

  let timer = null;
  let audio = null;
  let rung = 0;

  const minutes = place?.querySelector("[data-timer-minutes]");
  const planned_ms = () => Number(minutes.value.replace(",", ".")) * MINUTE_MS;
  const interval_ms = Number(place?.dataset.intervalS || 0) * 1000;

  const leg_ms = () => (timer.leg_began ? Math.max(0, Date.now() - timer.leg_began) : 0);
  const spent_ms = () => timer.spent_ms + leg_ms();
  const left_ms = () => timer.planned_ms - spent_ms();

  const keep = () => timers.keep(timer).catch(() => {});

  const clock = (ms) => {
    const seconds = Math.ceil(Math.max(0, ms) / 1000);
    return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  };

  // Sound is let through after somebody has pressed something on this page: starting does.
  const sound = () => {
    audio ||= new AudioContext();
    audio.resume();
    return audio;
  };

  const beep = (times, pitch_hz = 880) => {
    let context;
    try {
      context = sound();
    } catch {
      return;
    }
    for (let i = 0; i < times; i += 1) {
      const tone = new OscillatorNode(context, { frequency: pitch_hz, type: "square" });
      const loudness = new GainNode(context, { gain: 0.2 });
      tone.connect(loudness).connect(context.destination);
      tone.start(context.currentTime + i * 0.35);
      tone.stop(context.currentTime + i * 0.35 + 0.2);
    }
    place.dataset.beeps = Number(place.dataset.beeps || 0) + 1;
  };

  const start = () => {
    if (!(planned_ms() > 0)) {
      words.textContent = "Enter the minutes first.";
      return;
    }
    sound();
    const began = Date.now();
    const fresh = { spent_ms: 0, leg_began: began, legs: 0, state: "running" };
    timer = { run, began, planned_ms: planned_ms(), ...fresh };
    changed();
  };

  const pause = () => {
    Object.assign(timer, { spent_ms: spent_ms(), leg_began: 0, state: "paused" });
    changed();
  };

  const goOn = () => {
    sound();
    Object.assign(timer, { leg_began: Date.now(), state: "running" });
    changed();
  };

  const end = () => {
    const spent = Math.min(spent_ms(), timer.planned_ms);
    Object.assign(timer, { spent_ms: spent, leg_began: 0, state: "ended" });
    fillIn();
    changed();
  };

  const fillIn = () => {
    const field = minutesField();
    if (field && !field.value) {
      field.value = (timer.spent_ms / MINUTE_MS).toFixed(1).replace(/\.0$/, "");
      for (const name of ["input", "change"]) field.dispatchEvent(new Event(name, { bubbles: true }));
    }
    const began = document.querySelector("[data-shaken-began]");
    if (began && !began.value) began.value = localMoment(timer.began);
  };

  // As a field of date and time wants it, in this machine's own zone.
  const localMoment = (ms) => {
    const moment = new Date(ms - new Date(ms).getTimezoneOffset() * MINUTE_MS);
    return moment.toISOString().slice(0, 16);
  };

  const heard = () => {
    timer.state = "over";
    document.title = title;
    changed();
  };

  const ring = () => {
    document.title = rung % 2 ? title : `Shaken – ${title}`;
    rung += 1;
    if (rung <= RINGS) beep(3);
    if (timer.state === "ended") setTimeout(() => timer.state === "ended" && ring(), RING_EVERY_MS);
  };

  // Interval sieving: after each stretch the shaker rests, and so does the timer.
  const rest = () => {
    const due_ms = (timer.legs + 1) * interval_ms;
    if (!interval_ms || spent_ms() < due_ms || due_ms >= timer.planned_ms) return;
    timer.legs += 1;
    Object.assign(timer, { spent_ms: due_ms, leg_began: 0, state: "paused" });
    beep(1, 660);
    changed();
  };

  const stretch = () => {
    if (!interval_ms) return "";
    return ` Stretch ${timer.legs + 1} of ${Math.ceil(timer.planned_ms / interval_ms)}.`;
  };

  const SAYS = {
    running: () => `Shaking.${stretch()}`,
    paused: () =>
      timer.legs && interval_ms
        ? `Pause after stretch ${timer.legs}. Go on when the shaker does.`
        : "Stopped for the moment; the time does not run.",
    ended: () => "Shaken. Switch the shaker off, let the dust settle, then take the nest apart.",
    over: () => `Shaken for ${clock(timer.spent_ms)}.`,
  };

  const SHOWS = {
    none: ["start"],
    running: ["pause", "end"],
    paused: ["go-on", "end"],
    ended: ["heard"],
    over: ["start"],
  };

  const draw = () => {
    const state = timer?.state || "none";
    place.dataset.state = state;
    for (const act of place.querySelectorAll("[data-timer-act]")) {
      act.hidden = !SHOWS[state].includes(act.dataset.timerAct);
    }
    words.textContent = timer ? SAYS[state]() : "";
    face.textContent = timer && state !== "over" ? clock(left_ms()) : clock(planned_ms() || 0);
  };

  const changed = () => {
    keep();
    draw();
  };

  const tick = () => {
    if (timer?.state !== "running") return;
    rest();
    if (timer.state === "running" && left_ms() <= 0) {
      end();
      note("timer", "The shaking is over.");
      rung = 0;
      ring();
    } else if (timer.state === "running") {
      face.textContent = clock(left_ms());
      document.title = `${clock(left_ms())} – ${title}`;
    }
  };

  const begin = async () => {
    timer = (await timers.all()).find((it) => it.run === run) || null;
    if (timer) minutes.value = String(timer.planned_ms / MINUTE_MS);
    if (timer?.state === "ended") ring();
    draw();
    setInterval(tick, TICK_MS);
  };

  // It rings on when the page was cleared, but says no more what was shaken.
  document.addEventListener("session:over", () => {
    title = "Signed out";
  });

  if (place) {
    const doing = { start, pause, "go-on": goOn, end, heard };
    place.hidden = false;
    for (const [name, act] of Object.entries(doing)) acts(name).addEventListener("click", () => {
      act();
      if (timer && timer.state !== "running" && timer.state !== "ended") document.title = title;
    }); // prettier-ignore
    minutes.addEventListener("input", () => timer || draw());
    begin();
  }
}
