// Clocks go by the time of day, so that they are right after the phone slept; alarms call until they are answered.
const REPEAT = 4000;
let audio = null;
let rang = 0;
let lock = null;
let asking = false;

const STARTS = {
  drain: "The flow begins: start the clock",
  fill: "The pump runs: start the clock",
  draw: "The taps run: start the clock",
  wait: "Start the clock",
};

const flows = (clock) => clock.kind !== "wait";
const started = (clock) => state.clocks[clock.id] !== undefined;
const lastRun = (clock) => state.clocks[clock.id]?.runs.at(-1);
const running = (clock) => started(clock) && lastRun(clock).stop === undefined;
const sum = (numbers) => numbers.reduce((total, number) => total + number, 0);
const elapsed = (clock) => sum((state.clocks[clock.id]?.runs ?? []).map((run) => Math.max((run.stop ?? Date.now()) - run.start, 0)));
const remaining = (clock) => clock.predicted * MINUTE - elapsed(clock);

// What flowed before counts on; a wait begins anew.
function startClock(clock, now, byTick = false) {
  if (started(clock) && flows(clock)) state.clocks[clock.id].runs.push({ start: now });
  else state.clocks[clock.id] = { runs: [{ start: now }], answered: 0, byTick };
}

function stopClock(clock, now) {
  if (running(clock)) lastRun(clock).stop = now;
}

function goOn(clock) {
  delete lastRun(clock).stop;
}

// How many of its alarms have come due, and whether the latest of them waits for an answer.
const due = (clock) => clock.alarms.filter((alarm) => elapsed(clock) >= alarm.minute * MINUTE).length;
const calls = (clock) => running(clock) && due(clock) > state.clocks[clock.id].answered;
const dueAlarm = (clock) => clock.alarms[due(clock) - 1];

function readySound() {
  const Kind = window.AudioContext ?? window.webkitAudioContext;
  if (!Kind) return;
  audio ??= new Kind();
  if (audio.state === "suspended") audio.resume().catch(() => {});
}

function ring() {
  rang = Date.now();
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive !== false) navigator.vibrate([400, 150, 400]);
  if (audio?.state !== "running") return;
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
  if (!plan.clocks.some(running) || lock || asking || document.hidden) return;
  asking = true;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
    write(byId("awake"), "The screen stays on while a clock runs and this page is in front.");
  } catch {
    write(byId("awake"), "This browser may let the screen sleep, and a sleeping phone may not ring: set a kitchen timer as well.");
  } finally {
    asking = false;
  }
}

function letSleep() {
  if (lock && !plan.clocks.some(running)) lock.release();
}

function reading(clock) {
  if (!started(clock)) return "";
  if (!running(clock)) return `Stopped at ${span(elapsed(clock))}`;
  if (flows(clock)) return `Runs for ${span(elapsed(clock))}`;
  return remaining(clock) > 0 ? `${span(remaining(clock))} to go` : `Over since ${span(-remaining(clock))}`;
}

// How long a clock will run, and when it calls.
function bounds(clock) {
  const ends = clock.early < clock.late ? `, ${figure(clock.early, 2)} at the earliest, ${figure(clock.late, 2)} at the latest` : "";
  return `About ${figure(clock.predicted, 2)} minutes${ends}. It calls you after ${figure(clock.alarms[0].minute, 2)} minutes.`;
}

function nextCall(clock) {
  const alarm = clock.alarms[due(clock)];
  return alarm ? alarm.minute * MINUTE - elapsed(clock) : Infinity;
}

// The last call of a flow is answered by ending it.
function answer(clock) {
  if (dueAlarm(clock).last) stopClock(clock, Date.now());
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
    show(panel.querySelector(".go-on"), started(clock) && flows(clock) && !running(clock));
    write(panel.querySelector(".start"), !started(clock) ? STARTS[clock.kind] : flows(clock) ? "It runs again: count on" : "Start again");
  }
  const shown = plan.clocks.filter(started);
  show(byId("no-clock"), shown.length === 0);
  const list = byId("all-clocks");
  while (list.children.length > shown.length) list.lastChild.remove();
  shown.forEach((clock, place) => {
    if (!list.children[place]) list.append(made("li", ""));
    write(list.children[place], `${clock.name}: ${reading(clock)}`);
  });
  renderBar();
}

// What flows comes first, then what calls soonest.
const byUrgency = (one, other) => flows(other) - flows(one) || nextCall(one) - nextCall(other);

function renderBar() {
  const calling = plan.clocks.filter(calls).sort(byUrgency);
  const box = byId("alarms");
  const wanted = calling.map((clock) => `${clock.id}:${due(clock)}`).join(" ");
  if (box.dataset.shown !== wanted) {
    box.dataset.shown = wanted;
    box.replaceChildren(...calling.map(alarmOf));
  }
  const runs = plan.clocks.filter(running).sort(byUrgency);
  const first = runs[0];
  const more = runs.length > 1 ? `; ${runs.length - 1} more below` : "";
  const earliest = first && flows(first) ? `, earliest end ${span(first.early * MINUTE)}` : "";
  write(byId("nearest"), first ? `${first.name}: ${reading(first).toLowerCase()}${earliest}${more}` : "");
  show(byId("bar"), runs.length > 0);
  show(byId("touch"), calling.length > 0 && audio?.state !== "running");
  if (plan.late) show(byId("bar-late"), runs.some((clock) => clock.kind === "fill"));
  document.title = calling.length ? `NOW: ${dueAlarm(calling[0]).text}` : `Water change for ${plan.tank}`;
}

function alarmOf(clock) {
  const box = made("div", "");
  const alarm = dueAlarm(clock);
  const words = made("div", "");
  const since = Date.now() - (elapsed(clock) - alarm.minute * MINUTE);
  words.append(made("p", alarm.text), made("small", `Calls since ${timeOfDay(since)}`));
  box.append(words, button(alarm.last ? clock.stopped : flows(clock) ? "I am there" : "I heard it", "", () => answer(clock)));
  return box;
}

function attend() {
  if (plan.clocks.some(calls) && Date.now() - rang >= REPEAT) ring();
  stayAwake();
  letSleep();
}

function beat() {
  renderClocks();
  renderLate();
  renderAgain();
  attend();
}
