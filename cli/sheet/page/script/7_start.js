// Everything is wired up once, then redrawn whenever something changes and twice a second.
const OLD = 18 * 60 * MINUTE;
const SURE = 10000;
let sureAgain = false;

function render() {
  renderSteps();
  renderClocks();
  renderLate();
  renderRecord();
  renderOld();
}

function renderOld() {
  const begun = plan.steps.some(ticked) && Date.now() - firstTick() > OLD;
  const lost = "This browser keeps nothing: a reload loses the ticks.";
  const old = begun ? `These ticks were begun on ${dayOf(firstTick())}. For another change plan again, or begin this sheet again below.` : "";
  write(byId("old"), [kept ? "" : lost, old].filter(Boolean).join(" "));
  show(byId("old"), byId("old").textContent !== "");
}

// The second press does it: one tap with a wet hand must not wipe the record.
function again() {
  const button = byId("again");
  if (sureAgain) startAfresh();
  sureAgain = !sureAgain;
  if (sureAgain) setTimeout(() => { sureAgain = false; write(button, "Begin this sheet again"); }, SURE);
  write(button, sureAgain ? "Yes, wipe every tick and begin again" : "Begin this sheet again");
  byId("note").value = state.typed.note ?? "";
  byId("changed").value = state.typed.changed ?? "";
  render();
}

function remember(id, key) {
  const field = byId(id);
  field.value = state.typed[key] ?? "";
  field.addEventListener("input", () => {
    state.typed[key] = field.value;
    save();
    render();
  });
}

function wire() {
  for (const card of document.querySelectorAll("[data-step]")) {
    card.querySelector(".tick input").addEventListener("change", () => toggle(stepById.get(card.dataset.step)));
  }
  for (const panel of document.querySelectorAll("[data-clock]")) {
    const clock = clockById.get(panel.dataset.clock);
    panel.querySelector(".start").addEventListener("click", () => pressClock(clock, startClock));
    panel.querySelector(".stop").addEventListener("click", () => pressClock(clock, stopClock));
  }
  byId("undo").addEventListener("click", () => untick(lastTicked()));
  byId("show-all").addEventListener("change", (event) => document.body.classList.toggle("show-all", event.target.checked));
  byId("try-alarm").addEventListener("click", () => { readySound(); setTimeout(ring, 50); });
  byId("copy").addEventListener("click", copy);
  byId("download").addEventListener("click", download);
  byId("again").addEventListener("click", again);
  byId("late-typed")?.addEventListener("input", renderLate);
  remember("note", "note");
  remember("changed", "changed");
  byId("changed").placeholder = figure(100 * plan.share, 4);
  // A browser lets a page sound only after a touch: every touch makes ready.
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, readySound);
  for (const kind of ["visibilitychange", "pageshow", "focus"]) window.addEventListener(kind, beat);
  document.addEventListener("visibilitychange", beat);
  window.addEventListener("storage", (event) => {
    if (event.key !== KEY) return;
    load();
    render();
  });
}

load();
document.body.classList.add("live");
wire();
render();
setInterval(beat, 500);
