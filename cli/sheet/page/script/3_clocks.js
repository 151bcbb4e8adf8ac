// Clocks go by the time of day, so that they are right after the phone slept; alarms call until they are answered.
const REPEAT = 4000;
let audio = null;
let rang = 0;
let lock = null;
let asking = false;

const running = (clock) => state.clocks[clock.id] !== undefined && state.clocks[clock.id].stop === undefined;

function elapsed(clock) {
  const run = state.clocks[clock.id];
  return run ? Math.max((run.stop ?? Date.now()) - run.start, 0) : 0;
}

const remaining = (clock) => clock.predicted * MINUTE - elapsed(clock);

function startClock(clock, now, byTick = false) {
  state.clocks[clock.id] = { start: now, answered: 0, byTick };
}

function stopClock(clock, now) {
  if (running(clock)) state.clocks[clock.id].stop = now;
}

// How many of its alarms have come due, and whether the latest of them waits for an answer.
const due = (clock) => clock.alarms.filter((alarm) => elapsed(clock) >= alarm.minute * MINUTE).length;
const calls = (clock) => running(clock) && due(clock) > state.clocks[clock.id].answered;

function readySound() {
  const Kind = window.AudioContext ?? window.webkitAudioContext;
  if (!Kind) return;
  audio ??= new Kind();
  if (audio.state === "suspended") audio.resume().catch(() => {});
}

function ring() {
  rang = Date.now();
  if (navigator.vibrate) navigator.vibrate([400, 150, 400]);
  if (!audio || audio.state !== "running") return;
  for (const after of [0, 0.3, 0.6]) {
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    tone.frequency.value = 880;
    volume.gain.value = 0.4;
    tone.connect(volume).connect(audio.destination);
    tone.start(audio.currentTime + after);
    tone.stop(audio.currentTime + after + 0.2);
  }
}

async function stayAwake() {
  const wanted = plan.clocks.some(running);
  if (!wanted || lock || asking || document.hidden) return;
  asking = true;
  const sleeps = "This browser may let the screen sleep, and a sleeping phone may not ring: set a kitchen timer as well.";
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
    write(byId("awake"), "The screen stays on while a clock runs and this page is in front.");
  } catch {
    write(byId("awake"), sleeps);
  } finally {
    asking = false;
  }
}

function letSleep() {
  if (lock && !plan.clocks.some(running)) lock.release();
}

function reading(clock) {
  if (state.clocks[clock.id] === undefined) return "";
  if (!running(clock)) return `Took ${span(elapsed(clock))}`;
  if (clock.kind === "wait") return remaining(clock) > 0 ? `${span(remaining(clock))} to go` : `Over since ${span(-remaining(clock))}`;
  return `Runs for ${span(elapsed(clock))}`;
}

function nextCall(clock) {
  const alarm = clock.alarms[due(clock)];
  return alarm ? alarm.minute * MINUTE - elapsed(clock) : Infinity;
}

function answer(clock) {
  state.clocks[clock.id].answered = due(clock);
  save();
  render();
}

function renderClocks() {
  for (const panel of document.querySelectorAll("[data-clock]")) {
    const clock = clockById.get(panel.dataset.clock);
    write(panel.querySelector(".reading"), reading(clock));
    show(panel.querySelector(".stop"), running(clock));
    show(panel.querySelector(".start"), !running(clock));
    write(panel.querySelector(".start"), state.clocks[clock.id] ? "Start the clock again" : "Start the clock");
  }
  const started = plan.clocks.filter((clock) => state.clocks[clock.id] !== undefined);
  show(byId("no-clock"), started.length === 0);
  const list = byId("all-clocks");
  while (list.children.length > started.length) list.lastChild.remove();
  started.forEach((clock, place) => {
    if (!list.children[place]) list.append(made("li", ""));
    write(list.children[place], `${clock.name}: ${reading(clock)}`);
  });
  renderBar();
}

function renderBar() {
  const calling = plan.clocks.filter(calls);
  const box = byId("alarms");
  const wanted = calling.map((clock) => `${clock.id}:${due(clock)}`).join(" ");
  if (box.dataset.shown !== wanted) {
    box.dataset.shown = wanted;
    box.replaceChildren(...calling.map(alarmOf));
  }
  const next = plan.clocks.filter(running).sort((one, other) => nextCall(one) - nextCall(other));
  const soonest = next[0];
  const more = next.length > 1 ? `, and ${next.length - 1} more` : "";
  const call = soonest && soonest.kind !== "wait" && nextCall(soonest) < Infinity ? `, calls in ${span(nextCall(soonest))}` : "";
  write(byId("nearest"), soonest ? `${soonest.name}: ${reading(soonest).toLowerCase()}${call}${more}` : "");
  show(byId("bar"), next.length > 0);
  if (plan.late) show(byId("bar-late"), next.some((clock) => clock.kind === "fill"));
  const title = `Water change for ${plan.tank}`;
  document.title = calling.length ? `NOW: ${calling[0].alarms[due(calling[0]) - 1].text}` : title;
}

function alarmOf(clock) {
  const box = made("div", "");
  const alarm = clock.alarms[due(clock) - 1];
  const since = state.clocks[clock.id].start + alarm.minute * MINUTE;
  box.append(made("p", alarm.text), made("small", `Calls since ${timeOfDay(since)}`), made("br", ""));
  const button = made("button", clock.kind === "wait" ? "I heard it" : "I am there");
  button.type = "button";
  button.addEventListener("click", () => answer(clock));
  box.append(button);
  return box;
}

function beat() {
  renderClocks();
  renderLate();
  if (plan.clocks.some(calls) && Date.now() - rang >= REPEAT) ring();
  stayAwake();
  letSleep();
}
