// The forgotten neutraliser at the present minute of filling, from the engine's table.
let typedProblem = "";

// Minutes that the pump has run into the tank; a tote ticked without its clock counts as predicted.
function pumpedMinutes() {
  let minutes = 0;
  for (const clock of plan.clocks) {
    if (clock.kind !== "fill") continue;
    if (state.clocks[clock.id]) minutes += elapsed(clock) / MINUTE;
    else if (ticked(stepById.get(clock.ends))) minutes += clock.predicted;
  }
  return minutes;
}

// A number as typed, with a point or a comma; null where it is none in range.
function typedNumber(text, most) {
  const trimmed = text.trim().replace(",", ".");
  if (!/^\d+(\.\d*)?$|^\.\d+$/.test(trimmed)) return null;
  const number = Number(trimmed);
  return number >= 0 && number <= most ? number : null;
}

// Chlorine on the line between two rows of the table; the larger of their doses.
function lateAt(minute) {
  const rows = plan.late.rows;
  const end = rows.at(-1);
  if (minute >= end[0]) return { chlorine: end[1], grams: end[2], millilitres: end[3] };
  const place = rows.findIndex((row) => row[0] > minute);
  const [low, high] = [rows[place - 1], rows[place]];
  const part = (minute - low[0]) / (high[0] - low[0]);
  const larger = (column) => (low[column] === null && high[column] === null ? null : Math.max(low[column] ?? 0, high[column] ?? 0));
  return { chlorine: low[1] + part * (high[1] - low[1]), grams: larger(2), millilitres: larger(3) };
}

function doseSaid({ grams, millilitres }) {
  const mass = grams === null ? "" : `${roundedDose(grams)} g of ${plan.late.agent}`;
  if (millilitres === null) return mass || "nothing";
  const volume = `${roundedDose(millilitres)} mL of ${plan.late.agent}`;
  return mass ? `${volume} solution (${mass})` : volume;
}

function renderLate() {
  if (!plan.late) return;
  const text = byId("late-typed").value;
  const typed = text.trim() === "" ? undefined : typedNumber(text, 1440);
  const problem = typed === null ? `'${text}' is read; minutes from 0 to 1440 are wanted, such as 4.5. The clocks are used.` : "";
  write(byId("late-problem"), problem);
  const minute = typed ?? pumpedMinutes();
  const found = lateAt(minute);
  write(byId("late-now"), `${figure(found.chlorine, 2)} mg/L`);
  write(byId("late-minute"), minute.toFixed(1));
  write(byId("late-dose"), doseSaid(found));
  const first = byId("late-first");
  show(first, minute === 0);
  write(first, "No water has been pumped into the tank yet by these clocks: put the neutraliser into the tote, as its step says. What follows is for water that is in the tank.");
}
