// What was done and when: as text, and as a file that the log takes in.
const HEAD = "uid,tank,at,kind,share,dosed,part,note";

// What was put in, summed over the steps that are ticked.
function dosed() {
  const sums = new Map();
  for (const step of plan.steps.filter(ticked)) {
    for (const dose of step.doses) {
      const sum = sums.get(dose.name) ?? { amount: 0, unit: dose.unit };
      sum.amount += dose.amount;
      sums.set(dose.name, sum);
    }
  }
  return [...sums].map(([name, sum]) => `${figure(sum.amount, 4)} ${sum.unit} ${name}`).join("; ");
}

const filledAt = () => state.ticks.fill_end;
const oneLine = (text) => text.replace(/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]+/gu, " ").trim();
const note = () => oneLine(state.typed.note ?? "");

function changedShare() {
  const text = state.typed.changed ?? "";
  return text.trim() === "" ? 100 * plan.share : typedNumber(text, 100) || null;
}

function took(clock) {
  const run = state.clocks[clock.id];
  return run?.stop === undefined ? "" : `${clock.name}: ${figure(elapsed(clock) / MINUTE, 3)} min (planned ${figure(clock.predicted, 3)})`;
}

const timesTaken = () => plan.clocks.filter((clock) => clock.kind !== "wait").map(took).filter(Boolean);

function recordText() {
  const steps = plan.steps.filter(ticked);
  if (!steps.length) return "";
  const share = changedShare();
  const lines = [`Water change for ${plan.tank}, ${dayOf(firstTick())}`];
  const planned = `${figure(100 * plan.share, 4)} %, ${figure(plan.volume_l, 4)} L`;
  if (filledAt() && share) lines.push(share === 100 * plan.share ? `Changed ${planned}` : `Changed ${figure(share, 4)} % (planned ${planned})`);
  if (dosed()) lines.push(`Put in: ${dosed()}`);
  lines.push(...steps.map((step) => `${timeOfDay(state.ticks[step.id])} ${step.name}`), ...timesTaken());
  if (note()) lines.push(`Seen: ${note()}`);
  return lines.join("\n");
}

const cell = (value) => (/[",\n]/.test(value) ? `"${value.replaceAll('"', '""')}"` : value);

function rows() {
  const found = [];
  const run = `${plan.id}-${firstTick()}`;
  const row = (name, at, kind, values) => {
    const { share = "", doses = "", part = "", words = "" } = values;
    found.push([`${run}-${name}`, plan.tank, isoTime(at), kind, share, doses, part, words]);
  };
  const seen = [...timesTaken(), note()].filter(Boolean).join("; ");
  const share = changedShare();
  if (filledAt() && share) row("change", filledAt(), "change", { share: String(Number((share / 100).toFixed(6))), doses: dosed(), words: seen });
  else if (seen) row("note", state.ticks[lastTicked().id], "note", { words: seen });
  for (const step of plan.steps.filter((one) => one.service && ticked(one))) {
    row(step.id, state.ticks[step.id], "service", { part: step.service });
  }
  return found;
}

const csv = () => [HEAD, ...rows().map((cells) => cells.map(cell).join(","))].join("\n") + "\n";
const fileName = () => `water-change-${dayOf(firstTick())}.csv`;

function download() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
  link.download = fileName();
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), MINUTE);
  say(`${fileName()} is made.`);
}

async function copy() {
  const text = byId("record");
  try {
    await navigator.clipboard.writeText(text.value);
  } catch {
    text.focus();
    text.select();
    document.execCommand("copy");
  }
  say("The record is copied.");
}

function renderRecord() {
  const any = plan.steps.some(ticked);
  const writes = any && rows().length > 0;
  const state_ = any
    ? filledAt() ? "The change stands in the record." : "The tank is not full yet: the file for the log would hold no change."
    : "Nothing has been ticked yet.";
  write(byId("record-state"), state_);
  const changed = changedShare();
  write(byId("changed-problem"), changed ? "" : `'${state.typed.changed}' is read; more than 0 and up to 100 is wanted, such as 40.`);
  const text = recordText();
  if (byId("record").value !== text) byId("record").value = text;
  byId("download").disabled = !writes || !changed;
  byId("copy").disabled = !any;
  write(byId("file-name"), any ? fileName() : "CSV");
}
