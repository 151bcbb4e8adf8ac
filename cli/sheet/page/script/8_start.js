// Everything is wired up once, then redrawn whenever something changes and twice a second.
const DAY = 24 * 60 * MINUTE;
const OLD = 18 * 60 * MINUTE;

function render() {
  renderSteps();
  renderClocks();
  renderLate();
  renderRecord();
  renderAgain();
  renderOld();
}

function renderOld() {
  tell(byId("old"), [jumped, kept ? "" : "This browser keeps nothing: a reload may lose the ticks, and closing the page does.", age()].filter(Boolean).join(" "));
}

// What a page that was not made for today must say.
function age() {
  if (anything()) {
    const old = now() - begun() > OLD;
    return old ? `This record was begun on ${dayOf(begun())}. For another change test tap and tank, and plan again.` : "";
  }
  const days = Math.round((Date.parse(dayOf(now())) - Date.parse(plan.day)) / DAY);
  return days > 0 ? `Planned ${days === 1 ? "yesterday" : `${days} days ago`}: test tap and tank, and plan again.` : "";
}

function renderAgain() {
  const flow = plan.clocks.some((clock) => flows(clock) && running(clock));
  if (flow && askedFor("wipe")) asked = null;
  byId("again").disabled = flow || !anything();
  show(byId("wipe"), !byId("again").disabled && askedFor("wipe"));
  show(byId("bring-back"), !anything() && isState(state.wiped));
  write(byId("again-said"), flow ? "Water runs: nothing is wiped before its clock is stopped." : "");
}

function wipe() {
  if (!sure("wipe")) return;
  state = { ...empty(), wiped: { ...state, wiped: null } };
  fillFields();
  save();
  render();
}

function askToWipe() {
  ask("wipe");
  render();
}

function bringBack() {
  state = present(state.wiped);
  fillFields();
  save();
  render();
}

const FIELDS = ["note", "changed"];

function fillFields() {
  for (const field of FIELDS) if (byId(field).value !== (state.typed[field] ?? "")) byId(field).value = state.typed[field] ?? "";
}

/** @param {string} field */
function remember(field) {
  byId(field).addEventListener("input", () => {
    state.typed[field] = byId(field).value;
    save();
    render();
  });
}

// Another page of this plan, or this one after a sleep, may know more.
/** @param {Event} [event] */
function catchUp(event) {
  watchClock(event?.type !== "storage");
  load();
  findFall();
  renderEarlier();
  fillFields();
  render();
  attend();
}

/** @param {string} id @param {() => unknown} action */
function pressed(id, action) {
  byId(id)?.addEventListener("click", action);
}

// What only a script fills stands in no page without one.
/** @param {Step} step */
function furnish(step) {
  const card = cardOf(step);
  const [at, treatment, why] = ["ticked-at", "treated", "why"].map((name) => made("p", "", name));
  card.querySelector("h3").after(at);
  card.querySelector(".text").after(treatment);
  card.querySelector(".tick").before(why);
  why.id = `why-${step.id}`;
  card.querySelector(".tick input").setAttribute("aria-describedby", why.id);
  if (step.vital) card.querySelector(".body").append(readingOf(step));
  if (flowEndedBy(step)) card.querySelector(".tick").after(askOf(step));
}

// Where the end of a flow comes too early: another place to press than the box.
/** @param {Step} step */
function askOf(step) {
  const box = made("div", "", "ask live-only");
  box.dataset.of = step.id;
  box.hidden = true;
  box.append(button(`Yes, ${endOf(present(flowEndedBy(step)))}`, "yes", () => pressSure(step)));
  return box;
}

/** @param {PageElement} panel */
function furnishClock(panel) {
  const clock = clockOf(panel.dataset.clock ?? "");
  panel.setAttribute("role", "group");
  panel.setAttribute("aria-label", `Clock: ${clock.name}`);
  panel.append(
    made("p", bounds(clock), "bounds"),
    made("p", "", "reading"),
    button(STARTS[clock.kind], "start", () => pressClock(clock, startClock)),
    button(clock.stopped || "Stop the clock", "stop", () => pressClock(clock, stopClock)),
    button("Stopped by mistake: it still runs", "go-on", () => pressClock(clock, goOn)),
  );
}

function wireSteps() {
  for (const step of plan.steps) {
    furnish(step);
    const card = cardOf(step);
    card.querySelector(".tick input").addEventListener("change", () => toggle(step));
  }
  document.querySelectorAll("[data-clock]").forEach(furnishClock);
  pressed("undo", () => toggle(present(lastTicked()), nextStep() ?? lastTicked()));
}

function wire() {
  wirePresses();
  wireSteps();
  byId("show-all").addEventListener("change", (event) => document.body.classList.toggle("show-all", targetOf(event).checked));
  pressed("try-alarm", () => { readySound(); setTimeout(ring, 50); });
  pressed("copy", copy);
  pressed("download", download);
  pressed("take-back", takeBack);
  pressed("end", pressEnd);
  pressed("again", askToWipe);
  pressed("wipe", wipe);
  pressed("bring-back", bringBack);
  pressed("late-stop", stopFilling);
  pressed("late-done", noteDose);
  for (const id of ["late-typed", "late-from"]) byId(id)?.addEventListener("input", renderLate);
  FIELDS.forEach(remember);
  // A browser lets a page sound only after a touch: every touch makes ready.
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, readySound);
  for (const kind of ["pageshow", "focus"]) window.addEventListener(kind, catchUp);
  document.addEventListener("visibilitychange", catchUp);
  window.addEventListener("hashchange", keepInTab);
  window.addEventListener("storage", (event) => { if (event.key === KEY) catchUp(event); });
  window.addEventListener("pagehide", () => { watchClock(); if (anything()) markSeen(); });
}

load();
document.body.classList.add("live");
wire();
catchUp();
setInterval(beat, 500);
