// Steps are ticked in their order; nothing behind an unconfirmed hold can be.
let refused = null;

const ticked = (step) => state.ticks[step.id] !== undefined;
const nextStep = () => plan.steps.find((step) => !ticked(step));
const lastTicked = () => plan.steps.findLast(ticked);
const called = (step) => `step ${step.number}: ${step.name}`;
const readKey = (step) => `read ${step.id}`;
const cardOf = (step) => byId(`step-${step.id}`);

// Why a step cannot be ticked or unticked now; empty where it can.
function whyNot(step) {
  if (ticked(step)) return step === lastTicked() ? "" : `Undo the later steps first, from ${called(lastTicked())}`;
  const waiting = nextStep();
  if (step === waiting) return "";
  const before = plan.steps.slice(0, plan.steps.indexOf(step));
  const hold = before.find((other) => other.hold && !ticked(other));
  return `Waits for ${hold ? "the HOLD at " : ""}${called(hold ?? waiting)}`;
}

const halfAgain = (step) => step.doses.map((dose) => ({ ...dose, amount: dose.amount / 2 }));
const saidHalf = (step) => halfAgain(step).map((dose) => `${figure(dose.amount, 3)} ${dose.unit} of ${dose.name}`).join(", ");

// The neutraliser's step is confirmed by what the test reads, not by a tick alone.
function unread(step) {
  if (!step.vital) return "";
  const read = state.typed[readKey(step)];
  if (read === "zero") return "";
  return read === "more"
    ? `Put in half as much again (${saidHalf(step)}), stir, and test again: it must read zero.`
    : "Test total chlorine in the tote, then say above what it reads.";
}

// What is better not done; asked for twice it is done all the same.
function doubt(step) {
  if (step.stop) return "What you changed counts only in a new plan. To go on with this one all the same, tick once more.";
  const waits = (clock) => !flows(clock) && running(clock) && remaining(clock) > 0;
  if (ticked(step)) {
    const lost = plan.clocks.find((clock) => clock.starts === step.id && state.clocks[clock.id]?.byTick && waits(clock));
    return lost ? `The clock '${lost.name}' began with this step. To stop it, tick once more.` : "";
  }
  const early = plan.clocks.find((clock) => clock.ends === step.id && waits(clock));
  return early ? `${early.name}: ${span(remaining(early))} to go. If that time has passed all the same, tick once more.` : "";
}

function refuse(step, text) {
  refused = { step, text };
  say(text);
  render();
}

// shownAt: the step that tells what speaks against it.
function toggle(step, shownAt = step) {
  const against = whyNot(step) || (ticked(step) ? "" : unread(step));
  if (against) return refuse(shownAt, against);
  const second = doubt(step);
  if (second && !sure(`${step.id} ${ticked(step)}`)) return refuse(shownAt, second);
  refused = null;
  return ticked(step) ? untick(step) : tick(step);
}

function tick(step) {
  const now = Date.now();
  state.ticks[step.id] = now;
  for (const clock of plan.clocks) {
    if (clock.ends === step.id && running(clock)) stopClock(clock, now);
    else if (clock.starts === step.id && clock.ends !== step.id && !started(clock)) startClock(clock, now, !flows(clock));
  }
  const next = nextStep();
  say(next ? `Step ${step.number} is done. Now ${called(next)}` : "Every step is done. Write the record.");
  save();
  render();
  (next ? cardOf(next) : byId("record-heading")).scrollIntoView({ block: "start" });
}

// A flow goes on whatever is unticked: only a person stops it. A wait that the tick began ends with it.
function untick(step) {
  const at = state.ticks[step.id];
  delete state.ticks[step.id];
  delete state.typed[readKey(step)];
  for (const clock of plan.clocks.filter(started)) {
    if (clock.ends === step.id && lastRun(clock).stop === at) goOn(clock);
    if (clock.starts === step.id && state.clocks[clock.id].byTick) delete state.clocks[clock.id];
  }
  say(`Step ${step.number} is not done.`);
  save();
  render();
  cardOf(step).scrollIntoView({ block: "start" });
  cardOf(step).querySelector(".tick input").focus({ preventScroll: true });
}

function say(text) {
  byId("said").textContent = text;
}

function renderSteps() {
  const next = nextStep();
  for (const step of plan.steps) renderStep(cardOf(step), step, next);
  const done = plan.steps.filter(ticked).length;
  write(byId("progress"), next ? `${done} of ${plan.steps.length} done, now ${called(next)}` : "Every step is done.");
  const undo = byId("undo");
  const last = lastTicked();
  show(undo, last !== undefined);
  write(undo, last ? `Undo: ${last.name}` : "Undo");
  const place = next ? cardOf(next) : byId("steps").parentElement;
  if (undo.parentElement !== place) place.append(undo);
}

function renderStep(card, step, next) {
  const box = card.querySelector(".tick input");
  const locked = whyNot(step);
  box.checked = ticked(step);
  box.setAttribute("aria-disabled", String(locked !== ""));
  card.classList.toggle("done", ticked(step));
  card.classList.toggle("later", !ticked(step) && step !== next);
  if (step === next) card.setAttribute("aria-current", "step");
  else card.removeAttribute("aria-current");
  show(card.querySelector(".here"), step === next);
  tell(card.querySelector(".why"), refused?.step === step ? refused.text : ticked(step) ? "" : locked);
  tell(card.querySelector(".ticked-at"), ticked(step) ? `Done at ${timeOfDay(state.ticks[step.id])}` : "");
  tell(card.querySelector(".treated"), treated(step));
  for (const button of card.querySelectorAll(".clock button")) button.setAttribute("aria-disabled", String(!mayRun(step)));
  if (step.vital) show(card.querySelector(".half"), state.typed[readKey(step)] === "more");
  for (const radio of card.querySelectorAll("fieldset input")) radio.checked = radio.value === state.typed[readKey(step)];
}

function tell(element, text) {
  write(element, text);
  show(element, text !== "");
}

// Before a tote is pumped: that it was neutralised, and when.
function treated(step) {
  if (!step.id.endsWith("_pump")) return "";
  const vital = plan.steps.find((other) => other.vital && other.tote === step.tote);
  return vital && ticked(vital) ? `NEUTRALISER in this tote: yes, confirmed at ${timeOfDay(state.ticks[vital.id])}, chlorine zero.` : "";
}

// A clock may be started in its step, and as long as the step that ends it is not done.
function mayRun(step) {
  const clock = plan.clocks.find((one) => one.starts === step.id);
  return step === nextStep() || (ticked(step) && clock !== undefined && !ticked(stepById.get(clock.ends)));
}

function pressClock(clock, press) {
  const step = stepById.get(clock.starts);
  if (press === startClock && !mayRun(step)) {
    refuse(step, whyNot(step) || `The clock of ${called(step)} is over.`);
    return;
  }
  press(clock, Date.now());
  save();
  render();
}

function pressReading(step, read) {
  state.typed[readKey(step)] = read;
  save();
  if (read === "more") return refuse(step, unread(step));
  refused = null;
  return render();
}

// Once more of it is in, the water is another: it has to be tested again.
function pressHalf(step) {
  if (!noteAdded({ text: `More neutraliser into tote ${step.tote}, as the test read more than zero: ${saidHalf(step)}`, half: step.id })) return;
  delete state.typed[readKey(step)];
  save();
  refuse(step, `Noted at ${timeOfDay(Date.now())}. ${unread(step)}`);
  cardOf(step).querySelector("fieldset input").focus({ preventScroll: true });
}
