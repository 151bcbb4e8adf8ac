// Clocks go by the sheet's own time, so that they are right after the phone slept; alarms call until they are answered.
const REPEAT = 4000;
const BEAT = 5000;
const SAID = 5 * MINUTE;
const NO_SOUND = "No sound yet: touch the page once, so that it can call you.";
const MUTE = "This browser makes no sound: set a kitchen timer as well.";
/** @type {AudioContext | null} */
let audio = null;
let readied = -Infinity;
let rang = -Infinity;
let alarmsAt = -Infinity;
/** @type {WakeLockSentinel | null} */
let lock = null;
let asking = false;

const STARTS = {
  drain: "The flow begins: start the clock",
  fill: "The pump runs: start the clock",
  draw: "The taps run: start the clock",
  wait: "Start the clock",
};

/** @param {Clock} clock */
const flows = (clock) => clock.kind !== "wait";
/** @param {Clock} clock */
const started = (clock) => state.clocks[clock.id] !== undefined;
/** @param {Clock} clock */
const lastRun = (clock) => present(state.clocks[clock.id].runs.at(-1));
/** @param {Clock} clock */
const running = (clock) => started(clock) && lastRun(clock).stop === undefined;
/** @param {number[]} numbers */
const sum = (numbers) => numbers.reduce((total, number) => total + number, 0);
/** @param {Clock} clock */
const runsOf = (clock) => state.clocks[clock.id]?.runs ?? [];
/** @param {Clock} clock */
const elapsed = (clock) => sum(runsOf(clock).map((run) => Math.max((run.stop ?? now()) - run.start, 0)));
/** @param {Clock} clock */
const remaining = (clock) => clock.predicted * MINUTE - elapsed(clock);
// Without what the phone's clock jumped ahead: so long it has run for certain.
/** @param {Clock} clock */
const certain = (clock) => Math.max(elapsed(clock) - sum(runsOf(clock).map((run) => run.jump ?? 0)), 0);
/** @param {Clock} clock */
const waits = (clock) => !flows(clock) && running(clock) && certain(clock) < clock.predicted * MINUTE;
/** @param {Clock} clock */
const lost = (clock) => state.clocks[clock.id]?.lost;

// What flowed before counts on; a wait begins anew.
/** @param {Clock} clock @param {number} at @param {boolean} [byTick] */
function startClock(clock, at, byTick = false) {
  if (started(clock) && flows(clock)) state.clocks[clock.id].runs.push({ start: at });
  else state.clocks[clock.id] = { runs: [{ start: at }], answered: 0, byTick };
}

/** @param {Clock} clock @param {number} at */
function stopClock(clock, at) {
  if (running(clock)) lastRun(clock).stop = at;
}

/** @param {Clock} clock */
function goOn(clock) {
  delete lastRun(clock).stop;
}

// How many of its alarms have come due, and whether the latest of them waits for an answer.
/** @param {Clock} clock */
const due = (clock) => clock.alarms.filter((alarm) => elapsed(clock) >= alarm.minute * MINUTE).length;
/** @param {Clock} clock */
const calls = (clock) => running(clock) && (lost(clock) === "call" || due(clock) > state.clocks[clock.id].answered);
/** @param {Clock} clock @returns {Alarm} */
const dueAlarm = (clock) => (lost(clock) === "call" ? lookNow(clock) : clock.alarms[due(clock) - 1]);

/** @param {Clock} clock */
function lookNow(clock) {
  const look = flows(clock) ? "Look at the water now" : "Go by another clock";
  return { minute: elapsed(clock) / MINUTE, text: `${look}: this phone's clock was put back, and nobody knows how long '${clock.name}' has run.` };
}

const soundOf = () => window.AudioContext ?? window.webkitAudioContext;

function readySound() {
  const Kind = soundOf();
  if (!Kind) return;
  readied = performance.now();
  audio ??= new Kind();
  if (audio.state === "suspended") audio.resume().catch(() => {});
}

// Why a call would not be heard; empty where it would, or where a touch has only just asked for it.
function noSound() {
  if (!soundOf()) return MUTE;
  return audio?.state === "running" || performance.now() - readied < 1000 ? "" : NO_SOUND;
}

function ring() {
  rang = performance.now();
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

/** @param {number} left */
const toGo = (left) => (left > 0 ? `${span(left)} to go` : `Over since ${span(-left)}`);

/** @param {Clock} clock */
function reading(clock) {
  if (!started(clock)) return "";
  const least = lost(clock) ? "at least " : "";
  if (!running(clock)) return `Stopped at ${least}${span(elapsed(clock))}`;
  const jump = elapsed(clock) - certain(clock);
  if (flows(clock)) return `Runs for ${least}${span(certain(clock))}${jump ? `, or ${span(elapsed(clock))} if this phone slept` : ""}`;
  const said = toGo(remaining(clock) + jump);
  if (lost(clock)) return remaining(clock) > 0 ? `At most ${said}` : said;
  return `${said}${jump ? `, or ${toGo(remaining(clock)).toLowerCase()} if this phone slept` : ""}`;
}

// How long a clock will run, and when it calls.
/** @param {Clock} clock */
function bounds(clock) {
  const ends = clock.early < clock.late ? `, ${figure(clock.early, 2)} at the earliest, ${figure(clock.late, 2)} at the latest` : "";
  return `About ${figure(clock.predicted, 2)} minutes${ends}. It calls you after ${figure(clock.alarms[0].minute, 2)} minutes.`;
}

/** @param {Clock} clock */
function nextCall(clock) {
  const alarm = clock.alarms[due(clock)];
  return alarm ? alarm.minute * MINUTE - elapsed(clock) : Infinity;
}

// The last call of a flow is answered by ending it.
/** @param {Clock} clock */
function answer(clock) {
  if (dueAlarm(clock).last) stopClock(clock, now());
  if (lost(clock)) state.clocks[clock.id].lost = "said";
  else state.clocks[clock.id].answered = due(clock);
  answeredBox = clock.id;
  save();
  render();
}

// A clock stands with the step that ends it as soon as it is that step's turn: there its water is stopped.
/** @param {PageElement} panel */
function renderPanel(panel) {
  const clock = clockOf(panel.dataset.clock ?? "");
  const step = stepOf(ticked(stepOf(clock.starts)) ? clock.ends : clock.starts);
  const body = cardOf(step).querySelector(".body");
  if (panel.parentElement !== body) body.append(panel);
  for (const control of panel.querySelectorAll("button")) control.setAttribute("aria-disabled", String(!mayRun(stepOf(clock.starts))));
  return clock;
}

function renderClocks() {
  for (const panel of document.querySelectorAll("[data-clock]")) {
    const clock = renderPanel(panel);
    write(panel.querySelector(".reading"), reading(clock));
    show(panel.querySelector(".stop"), running(clock));
    show(panel.querySelector(".start"), !running(clock));
    show(panel.querySelector(".go-on"), started(clock) && flows(clock) && !running(clock));
    write(panel.querySelector(".start"), !started(clock) ? STARTS[clock.kind] : flows(clock) ? "It runs again: count on" : "Start again");
  }
  const shown = plan.clocks.filter(started);
  show(byId("no-clock"), shown.length === 0);
  const list = byId("all-clocks");
  while (list.children.length > shown.length) list.lastElementChild?.remove();
  while (list.children.length < shown.length) list.append(made("li", ""));
  shown.forEach((clock, place) => {
    write(list.children[place], `${clock.name}: ${reading(clock)}`);
  });
  renderBar();
}

// What flows comes first, then what calls soonest.
/** @param {Clock} one @param {Clock} other */
const byUrgency = (one, other) => Number(flows(other)) - Number(flows(one)) || nextCall(one) - nextCall(other);

function renderBar() {
  const calling = plan.clocks.filter(calls).sort(byUrgency);
  renderAlarms(calling);
  const runs = plan.clocks.filter(running).sort(byUrgency);
  const first = runs[0];
  const more = runs.length > 1 ? `; ${runs.length - 1} more below` : "";
  const earliest = first && flows(first) ? `, earliest end ${span(first.early * MINUTE)}` : "";
  write(byId("nearest"), first ? `${first.name}: ${reading(first).toLowerCase()}${earliest}${more}` : "");
  show(byId("bar"), runs.length > 0);
  tell(byId("touch"), runs.length ? noSound() : "");
  tell(byId("jumped"), performance.now() - jumpedAt < SAID ? jumped : "");
  if (plan.late) show(byId("bar-late"), runs.some((clock) => clock.kind === "fill"));
  document.title = calling.length ? `NOW: ${dueAlarm(calling[0]).text}` : `Water change for ${plan.tank}`;
}

// Among others an answered alarm leaves its place empty, until something new calls: none moves to where it was pressed.
/** @type {string | null} */
let answeredBox = null;

/** @param {Clock[]} calling */
function renderAlarms(calling) {
  const box = byId("alarms");
  /** @param {Clock} clock */
  const named = (clock) => `${clock.id}:${lost(clock) === "call" ? "lost" : due(clock)}`;
  const wanted = calling.map(named).join(" ");
  if (box.dataset.shown === wanted) return;
  const before = (box.dataset.shown ?? "").split(" ");
  const fewer = calling.length > 0 && answeredBox !== null && calling.every((clock) => before.includes(named(clock)));
  box.dataset.shown = wanted;
  if (fewer) {
    for (const gone of [...box.querySelectorAll("[data-of]")].filter((one) => one.dataset.of === answeredBox)) {
      gone.style.height = `${gone.offsetHeight}px`;
      gone.className = "answered";
      gone.replaceChildren();
    }
  } else {
    alarmsAt = performance.now();
    box.replaceChildren(...calling.map(alarmOf));
  }
  answeredBox = null;
}

/** @param {Clock} clock */
function alarmOf(clock) {
  const box = made("div", "");
  box.dataset.of = clock.id;
  const alarm = dueAlarm(clock);
  const words = made("div", "");
  const since = now() - (elapsed(clock) - alarm.minute * MINUTE);
  words.append(made("p", alarm.text), made("small", `Calls since ${timeOfDay(since)}`));
  box.append(words, button(alarm.last ? clock.stopped : flows(clock) ? "I am there" : "I heard it", "", () => answer(clock)));
  return box;
}

function attend() {
  if (plan.clocks.some(calls) && performance.now() - rang >= REPEAT) ring();
  stayAwake();
  letSleep();
}

function beat() {
  watchClock();
  if (plan.clocks.some(running) && performance.now() - seenAt >= BEAT) markSeen();
  renderClocks();
  renderAsks();
  renderOld();
  renderLate();
  renderAgain();
  attend();
}
