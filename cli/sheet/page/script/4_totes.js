// The neutraliser's step is confirmed by what the test reads, not by a tick alone; half as much again goes in twice at most.
const MOST_HALVES = 2;
const ALL_IN = "This tote is not used";

/** @param {Step} step */
const halves = (step) => state.added.filter((one) => one.half === step.id).length;
/** @param {Step} step @param {number} factor */
const times = (step, factor) => (step.doses ?? []).map((dose) => ({ ...dose, amount: dose.amount * factor }));
/** @param {Step} step */
const halfAgain = (step) => times(step, 0.5);
/** @param {Dose[]} doses */
const saidDoses = (doses) => doses.map((dose) => `${figure(dose.amount, 3)} ${dose.unit} of ${dose.name}`).join(", ");
/** @param {Step} step */
const saidHalf = (step) => saidDoses(halfAgain(step));
/** @param {Step} step */
const saidInAll = (step) => saidDoses(times(step, 1 + halves(step) / 2));

// Why the neutraliser's step is not confirmed yet; empty where it may be.
/** @param {Step} step */
function unread(step) {
  if (!step.vital) return "";
  const read = state.typed[readKey(step)];
  if (read === "zero") return "";
  if (read !== "more") return "Test total chlorine in the tote, then say above what it reads.";
  if (halves(step) >= MOST_HALVES)
    return `${ALL_IN}: ${saidInAll(step)} in all is in it, and it still reads chlorine. Test a blank, water that has no chlorine: `
      + "if that reads more than zero too, the test is at fault, and only a good one may say zero here. Else pour the tote away and draw it anew.";
  const last = halves(step) === MOST_HALVES - 1 ? " For the last time." : "";
  return `Put in half as much again (${saidHalf(step)}), stir, and test again: it must read zero.${last}`;
}

/** @param {PageElement} card @param {Step} step */
function renderReading(card, step) {
  const read = state.typed[readKey(step)];
  const more = read === "more" && !ticked(step);
  for (const radio of card.querySelectorAll("fieldset input")) radio.checked = radio.value === read;
  show(card.querySelector(".half"), more && halves(step) < MOST_HALVES);
  show(card.querySelector(".pour"), more && halves(step) >= MOST_HALVES);
  tell(card.querySelector(".in-all"), halves(step) ? `Neutraliser in this tote so far: ${saidInAll(step)}.` : "");
}

/** @param {Step} step @param {string} read */
function pressReading(step, read) {
  state.typed[readKey(step)] = read;
  save();
  if (read === "more") return refuse(step, unread(step));
  refused = null;
  return render();
}

// Once more of it is in, the water is another: it has to be stirred and tested again.
/** @param {Step} step */
function pressHalf(step) {
  if (halves(step) >= MOST_HALVES) return;
  const text = `More neutraliser into tote ${step.tote}, as the test read more than zero: ${saidHalf(step)}`;
  if (!noteAdded({ text, half: step.id })) return;
  delete state.typed[readKey(step)];
  for (const clock of plan.clocks.filter((one) => one.starts === step.id && one.ends === step.id)) startClock(clock, now());
  save();
  refuse(step, `Noted at ${timeOfDay(now())}: ${saidInAll(step)} in all, and the stirring clock runs anew. ${unread(step)}`);
  cardOf(step).querySelector("fieldset input").focus({ preventScroll: true });
}

// What was poured away was put into no tank; the tote begins again with its filling.
/** @param {Step} step */
function pressPour(step) {
  if (!sure(`pour ${step.id}`)) return refuse(step, "If this tote is poured away, press once more.");
  const begin = plan.steps.findIndex((one) => one.tote === step.tote && one.id.endsWith("_fill"));
  const again = plan.steps.slice(Math.max(begin, 0), plan.steps.indexOf(step) + 1);
  state.added.push({ at: now(), text: `Tote ${step.tote} was not used and poured away: chlorine left after ${saidInAll(step)}` });
  for (const one of state.added.filter((added) => added.half === step.id)) delete one.half;
  for (const one of again) {
    delete state.ticks[one.id];
    delete state.typed[readKey(one)];
    for (const clock of plan.clocks.filter((other) => other.starts === one.id)) delete state.clocks[clock.id];
  }
  refused = null;
  const next = present(nextStep());
  say(`Now ${called(next)}`);
  save();
  render();
  cardOf(next).scrollIntoView({ block: "start" });
}

// What the test of the neutralised tote reads.
/** @param {Step} step */
function readingOf(step) {
  const group = made("fieldset", "", "live-only");
  group.append(made("legend", "Total chlorine reads"), made("p", "", "in-all"));
  for (const [value, words] of [["zero", "zero"], ["more", "more than zero"]]) {
    const radio = made("input", "");
    Object.assign(radio, { type: "radio", name: readKey(step), value });
    radio.addEventListener("change", () => pressReading(step, value));
    const label = made("label", "");
    label.append(radio, words);
    group.append(label);
  }
  group.append(button("I have put half as much again in", "half", () => pressHalf(step)));
  group.append(button("I have poured this tote away: draw it anew", "pour", () => pressPour(step)));
  return group;
}
