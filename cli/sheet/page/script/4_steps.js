// Steps are ticked in their order; nothing behind an unconfirmed hold can be.
let askedEarly = null;

const ticked = (step) => state.ticks[step.id] !== undefined;
const nextStep = () => plan.steps.find((step) => !ticked(step));
const lastTicked = () => plan.steps.findLast(ticked);
const called = (step) => `step ${step.number}: ${step.name}`;

// Why a step cannot be ticked or unticked now; empty where it can.
function whyNot(step) {
  if (ticked(step)) return step === lastTicked() ? "" : `Undo later steps first, from ${called(lastTicked())}.`;
  const waiting = nextStep();
  if (step === waiting) return "";
  const before = plan.steps.slice(0, plan.steps.indexOf(step));
  const hold = before.find((other) => other.hold && !ticked(other));
  if (hold) return `Waits for the HOLD at ${called(hold)}`;
  return `Waits for ${called(waiting)}`;
}

// Whether the clock of a step has been started as its first step was done, and still has time to go.
function tooEarly(step) {
  const clock = plan.clocks.find((one) => one.kind === "wait" && one.ends === step.id && running(one) && remaining(one) > 0);
  return clock ? `${clock.name}: ${span(remaining(clock))} to go. Tick once more if that time has passed all the same.` : "";
}

function tick(step) {
  const early = tooEarly(step);
  if (early && askedEarly !== step.id) {
    askedEarly = step.id;
    say(early);
    return;
  }
  askedEarly = null;
  const now = Date.now();
  state.ticks[step.id] = now;
  for (const clock of plan.clocks) {
    const run = state.clocks[clock.id];
    if (clock.ends === step.id && running(clock)) run.stop = now;
    if (clock.starts === step.id && clock.ends !== step.id && !run) startClock(clock, now, true);
  }
  const next = nextStep();
  say(next ? `Step ${step.number} is done. Now ${called(next)}` : "Every step is done. Write the record.");
  save();
  render();
  const target = next ? byId(`step-${next.id}`) : byId("record-heading");
  target.scrollIntoView({ block: "start" });
}

function untick(step) {
  const at = state.ticks[step.id];
  delete state.ticks[step.id];
  for (const clock of plan.clocks) {
    const run = state.clocks[clock.id];
    if (!run) continue;
    if (clock.ends === step.id && run.stop === at) delete run.stop;
    if (clock.starts === step.id && run.byTick) delete state.clocks[clock.id];
  }
  say(`Step ${step.number} is not done.`);
  save();
  render();
}

function toggle(step) {
  const reason = whyNot(step);
  if (reason) say(reason);
  else if (ticked(step)) untick(step);
  else tick(step);
  render();
}

function say(text) {
  byId("said").textContent = text;
}

function renderSteps() {
  const next = nextStep();
  for (const card of document.querySelectorAll("[data-step]")) {
    const step = stepById.get(card.dataset.step);
    const box = card.querySelector(".tick input");
    const early = askedEarly === step.id ? tooEarly(step) : "";
    const reason = ticked(step) ? "" : whyNot(step) || early;
    box.checked = ticked(step);
    box.setAttribute("aria-disabled", String(Boolean(whyNot(step))));
    card.classList.toggle("done", ticked(step));
    card.classList.toggle("later", !ticked(step) && step !== next);
    if (step === next) card.setAttribute("aria-current", "step");
    else card.removeAttribute("aria-current");
    show(card.querySelector(".here"), step === next);
    const why = card.querySelector(".why");
    write(why, reason);
    show(why, reason !== "");
    const at = card.querySelector(".ticked-at");
    write(at, ticked(step) ? `Done at ${timeOfDay(state.ticks[step.id])}` : "");
    show(at, ticked(step));
    for (const button of card.querySelectorAll(".clock button")) button.setAttribute("aria-disabled", String(!mayRun(step)));
  }
  const done = plan.steps.filter(ticked).length;
  write(byId("progress"), next ? `${done} of ${plan.steps.length} done, now ${called(next)}` : "Every step is done.");
  const last = lastTicked();
  show(byId("undo"), last !== undefined);
  write(byId("undo"), last ? `Undo: ${last.name}` : "Undo");
}

// A clock may be started in its step, and as long as the step that ends it is not done.
function mayRun(step) {
  const clock = plan.clocks.find((one) => one.starts === step.id);
  return step === nextStep() || (ticked(step) && clock !== undefined && !ticked(stepById.get(clock.ends)));
}

function pressClock(clock, press) {
  const step = stepById.get(clock.starts);
  if (press === startClock && !mayRun(step)) {
    say(whyNot(step) || `The clock of ${called(step)} is over.`);
    return;
  }
  press(clock, Date.now());
  save();
  render();
}
