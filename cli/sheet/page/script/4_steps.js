// Steps are ticked in their order; nothing behind an unconfirmed hold can be.
/** @type {{ step: Step, text: string } | null} */
let refused = null;

/** @param {Step} step */
const ticked = (step) => state.ticks[step.id] !== undefined;
const nextStep = () => plan.steps.find((step) => !ticked(step));
const lastTicked = () => plan.steps.findLast(ticked);
/** @param {Step} step */
const called = (step) => `step ${step.number}: ${step.name}`;
/** @param {Step} step */
const readKey = (step) => `read ${step.id}`;
/** @param {Step} step */
const cardOf = (step) => byId(`step-${step.id}`);

// Why a step cannot be ticked or unticked now; empty where it can.
/** @param {Step} step */
function whyNot(step) {
  if (ticked(step)) return step === lastTicked() ? "" : `Undo the later steps first, from ${called(present(lastTicked()))}`;
  const waiting = present(nextStep());
  if (step === waiting) return "";
  const before = plan.steps.slice(0, plan.steps.indexOf(step));
  const hold = before.find((other) => other.hold && !ticked(other));
  return `Waits for ${hold ? "the HOLD at " : ""}${called(hold ?? waiting)}`;
}

// What is better not done; asked for twice it is done all the same.
/** @param {Step} step */
function doubt(step) {
  if (step.stop) return "What you changed counts only in a new plan. To go on with this one all the same, tick once more.";
  if (ticked(step)) {
    const broken = plan.clocks.find((clock) => clock.starts === step.id && state.clocks[clock.id]?.byTick && waits(clock));
    return broken ? `The clock '${broken.name}' began with this step. To stop it, tick once more.` : "";
  }
  const early = plan.clocks.find((clock) => clock.ends === step.id && waits(clock));
  return early ? `${early.name}: ${span(early.predicted * MINUTE - certain(early))} to go. If that time has passed all the same, tick once more.` : "";
}

// The flow that a step ends, where it cannot be over yet.
/** @param {Step} step */
function tooEarly(step) {
  const clock = flowEndedBy(step);
  return clock && started(clock) && certain(clock) < clock.early * MINUTE ? clock : null;
}

/** @param {Step} step */
const flowEndedBy = (step) => plan.clocks.find((clock) => flows(clock) && clock.ends === step.id);

// What is so at the end of a flow: at a mark of the tank, or of a tote.
/** @param {Clock} clock */
function endOf(clock) {
  if (clock.kind === "draw") return "the tote is full";
  return clock.kind === "fill" && clock.starts === clock.ends ? "the tote is empty" : "the water is at the mark";
}

/** @param {Step} step @param {Clock} clock */
function askEarly(step, clock) {
  ask(`early ${step.id}`);
  const [noun, end] = endOf(clock).split(" is ");
  const least = clock.kind === "draw" ? "the plan says" : "the earliest is";
  refuse(step, `${clock.name}: it ran for ${lost(clock) ? "at least " : ""}${span(certain(clock))}; ${least} ${figure(clock.early, 2)} minutes. Is ${noun} really ${end}? Then say so below. `
    + `To stop for another reason, stop the water first, then press '${clock.stopped}': this step stays open.`);
}

/** @param {Step} step */
function pressSure(step) {
  if (!askedFor(`early ${step.id}`)) return;
  asked = null;
  refused = null;
  tick(step);
}

function renderAsks() {
  for (const box of document.querySelectorAll(".ask")) show(box, askedFor(`early ${box.dataset.of}`) && nextStep()?.id === box.dataset.of);
}

/** @param {Step} step @param {string} text */
function refuse(step, text) {
  refused = { step, text };
  say(text);
  render();
}

// shownAt: the step that tells what speaks against it.
/** @param {Step} step @param {Step} [shownAt] */
function toggle(step, shownAt = step) {
  const against = whyNot(step) || (ticked(step) ? "" : unread(step));
  if (against) return refuse(shownAt, against);
  const early = ticked(step) ? null : tooEarly(step);
  if (early) return askEarly(shownAt, early);
  const second = doubt(step);
  if (second && !sure(`${step.id} ${ticked(step)}`)) return refuse(shownAt, second);
  refused = null;
  return ticked(step) ? untick(step) : tick(step);
}

/** @param {Step} step */
function tick(step) {
  const at = now();
  state.ticks[step.id] = at;
  for (const clock of plan.clocks) {
    if (clock.ends === step.id && running(clock)) stopClock(clock, at);
    else if (clock.starts === step.id && clock.ends !== step.id && !started(clock)) startClock(clock, at, !flows(clock));
  }
  const next = nextStep();
  say(next ? `Step ${step.number} is done. Now ${called(next)}` : "Every step is done. Write the record.");
  save();
  render();
  (next ? cardOf(next) : byId("record-heading")).scrollIntoView({ block: "start" });
}

// A flow goes on whatever is unticked: only a person stops it. A wait that the tick began ends with it.
/** @param {Step} step */
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

/** @param {string} text */
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
  const place = next ? cardOf(next) : present(byId("steps").parentElement);
  if (undo.parentElement !== place) place.append(undo);
  renderAsks();
}

/** @param {PageElement} card @param {Step} step @param {Step | undefined} next */
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
  if (step.vital) renderReading(card, step);
}

/** @param {HTMLElement} element @param {string} text */
function tell(element, text) {
  write(element, text);
  show(element, text !== "");
}

// Before a tote is pumped: that it was neutralised, and when.
/** @param {Step} step */
function treated(step) {
  if (!step.id.endsWith("_pump")) return "";
  const vital = plan.steps.find((other) => other.vital && other.tote === step.tote);
  return vital && ticked(vital) ? `NEUTRALISER in this tote: yes, confirmed at ${timeOfDay(state.ticks[vital.id])}, chlorine zero.` : "";
}

// A clock may be started in its step, and as long as the step that ends it is not done.
/** @param {Step} step */
function mayRun(step) {
  const clock = plan.clocks.find((one) => one.starts === step.id);
  return step === nextStep() || (ticked(step) && clock !== undefined && !ticked(stepOf(clock.ends)));
}

/** @param {Clock} clock @param {(clock: Clock, at: number) => void} press */
function pressClock(clock, press) {
  const step = stepOf(clock.starts);
  if (press === startClock && !mayRun(step)) {
    refuse(step, whyNot(step) || `The clock of ${called(step)} is over.`);
    return;
  }
  press(clock, now());
  save();
  render();
}
