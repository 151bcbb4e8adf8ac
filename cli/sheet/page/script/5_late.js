// The forgotten neutraliser at the present minute of filling, from the engine's table.
const fillClocks = plan.clocks.filter((clock) => clock.kind === "fill");
/** @param {Clock} clock */
const toteOf = (clock) => stepOf(clock.starts).tote ?? 0;

// Minutes that the pump has run into the tank since a tote; one ticked without its clock counts as predicted.
/** @param {number} fromTote */
function pumpedMinutes(fromTote) {
  const minutes = fillClocks.filter((clock) => toteOf(clock) > fromTote).map((clock) => {
    if (started(clock)) return elapsed(clock) / MINUTE;
    return ticked(stepOf(clock.ends)) ? clock.predicted : 0;
  });
  return sum(minutes);
}

// A number as typed, with a point or a comma; null where it is none in range.
/** @param {string} text @param {number} most */
function typedNumber(text, most) {
  const trimmed = text.trim().replace(",", ".");
  if (!/^\d+(\.\d*)?$|^\.\d+$/.test(trimmed)) return null;
  const number = Number(trimmed);
  return number <= most ? number : null;
}

// Chlorine on the line between two rows of the table; the larger of their doses.
/** @param {LateRow[]} table @param {number} minute */
function lateAt(table, minute) {
  const place = Math.max(table.findIndex((row) => row[0] >= minute), 1);
  const [low, high] = [table[place - 1], table[place]];
  const part = (minute - low[0]) / (high[0] - low[0]);
  /** @param {2 | 3} column */
  const larger = (column) => (low[column] === null && high[column] === null ? null : Math.max(low[column] ?? 0, high[column] ?? 0));
  return { minute, chlorine: low[1] + part * (high[1] - low[1]), grams: larger(2), millilitres: larger(3) };
}

// The filling as it stands, by what was typed or else by the clocks; never beyond its end.
function lateNow() {
  const fromTote = Number(byId("late-from")?.value ?? 0);
  const table = present(plan.late).from_tote[fromTote];
  const text = byId("late-typed").value;
  const typed = text.trim() === "" ? undefined : typedNumber(text, 1440);
  const problem = typed === null ? `'${text}' is read; minutes from 0 to 1440 are wanted, such as 4.5. The clocks are used.` : "";
  return { ...lateAt(table, Math.min(typed ?? pumpedMinutes(fromTote), present(table.at(-1))[0])), problem };
}

/** @param {{ grams: number | null, millilitres: number | null }} dose */
function doseSaid({ grams, millilitres }) {
  const { agent } = present(plan.late);
  const mass = grams === null ? "" : `${roundedDose(grams)} g of ${agent}`;
  if (millilitres === null) return mass || "nothing";
  const volume = `${roundedDose(millilitres)} mL of ${agent}`;
  return mass ? `${volume} solution (${mass})` : volume;
}

const NOT_YET = "By these clocks no such water has been pumped into the tank yet: put the neutraliser into the tote, as its step says. What follows is for water that is in the tank.";

function renderLate() {
  if (!plan.late) return;
  const late = lateNow();
  write(byId("late-problem"), late.problem);
  write(byId("late-now"), `${figure(late.chlorine, 2)} mg/L`);
  write(byId("late-minute"), late.minute.toFixed(1));
  write(byId("late-dose"), doseSaid(late));
  tell(byId("late-first"), late.minute === 0 ? NOT_YET : "");
  show(byId("late-stop"), fillClocks.some(running));
  const next = nextStep();
  byId("late-back").href = next ? `#step-${next.id}` : "#record-heading";
}

function stopFilling() {
  for (const clock of fillClocks) stopClock(clock, now());
  save();
  render();
}

function noteDose() {
  const late = lateNow();
  const text = `Neutraliser forgotten: put ${doseSaid(late)} into the tank after ${late.minute.toFixed(1)} minutes of pumping, chlorine about ${figure(late.chlorine, 2)} mg/L`;
  if (!noteAdded({ text })) return;
  write(byId("late-noted"), `Noted for the record at ${timeOfDay(now())}.`);
  save();
  render();
}
