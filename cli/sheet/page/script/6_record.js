// What was done and when: as text, and as a file that the log takes in.
const HEAD = "uid,tank,at,kind,share,dosed,part,note";

// What was put in, summed over the steps that are ticked and what a test asked for beside them.
function dosed() {
  const sums = new Map();
  const planned = plan.steps.filter(ticked).flatMap((step) => step.doses ?? []);
  const more = state.added.filter((one) => one.half).flatMap((one) => halfAgain(stepById.get(one.half)));
  for (const dose of [...planned, ...more]) {
    const before = sums.get(dose.name)?.amount ?? 0;
    sums.set(dose.name, { amount: before + dose.amount, unit: dose.unit });
  }
  return [...sums].map(([name, all]) => `${figure(all.amount, 4)} ${all.unit} ${name}`).join("; ");
}

const filledAt = () => state.ticks.fill_end;
const oneLine = (text) => text.replace(/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]+/gu, " ").trim();
const note = () => oneLine(state.typed.note ?? "");

function changedShare() {
  const text = state.typed.changed ?? "";
  return text.trim() === "" ? 100 * plan.share : typedNumber(text, 100) || null;
}

function took(clock) {
  const minutes = figure(elapsed(clock) / MINUTE, 2);
  return running(clock) || !started(clock) ? "" : `${clock.name}: ${minutes} min (planned ${figure(clock.predicted, 2)})`;
}

const timesTaken = () => plan.clocks.filter(flows).map(took).filter(Boolean);

function unfinished() {
  const open = plan.steps.filter((step) => !ticked(step));
  return open.length ? `Not done: ${open.length} of ${plan.steps.length} steps, from ${called(open[0])}` : "";
}

function recordText() {
  const steps = plan.steps.filter(ticked);
  if (!anything()) return "";
  const share = changedShare();
  const planned = `${figure(100 * plan.share, 4)} %, ${Math.round(plan.volume_l)} L`;
  const changed = share === 100 * plan.share ? `Changed ${planned}` : `Changed ${figure(share ?? 0, 4)} % (planned ${planned})`;
  const events = [...steps.map((step) => ({ at: state.ticks[step.id], text: step.name })), ...state.added];
  const lines = [
    `Water change for ${plan.tank}, ${dayOf(events[0].at)}`,
    filledAt() && share ? changed : "",
    dosed() ? `Put in: ${dosed()}` : "",
    ...events.sort((one, other) => one.at - other.at).map((event) => `${timeOfDay(event.at)} ${event.text}`),
    ...timesTaken(),
    unfinished(),
    note() ? `Seen: ${note()}` : "",
  ];
  return lines.filter(Boolean).join("\n");
}

// Marked as text where a spreadsheet would take it for a formula; `log import` takes the mark off again.
const marked = (value) => (/^'*[-=+@\t\r\n\uff0b\uff0d\uff1d\uff20]/.test(value) ? `'${value}` : value);
const quoted = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
const cell = (value) => quoted(marked(value));

// One entry for the change once the tank is full, else a note; one for each service, and for each dose beside the plan.
function rows() {
  const steps = plan.steps.filter(ticked);
  const run = `${plan.id}-${begun()}`;
  const row = (name, at, kind, { share = "", doses = "", part = "", words = "" }) =>
    [`${run}-${name}`, plan.tank, isoTime(at), kind, share, doses, part, words];
  const seen = [...timesTaken(), note()].filter(Boolean);
  const share = changedShare();
  const change = filledAt() && share
    ? row("change", filledAt(), "change", { share: String(Number((share / 100).toFixed(6))), doses: dosed(), words: seen.join("; ") })
    : row(`note-${steps.length}`, steps.length ? state.ticks[steps.at(-1).id] : begun(), "note", { words: ["Water change begun, tank not full", unfinished(), ...seen].filter(Boolean).join("; ") });
  const services = steps.filter((step) => step.service).map((step) => row(step.id, state.ticks[step.id], "service", { part: step.service }));
  const added = state.added.map((one) => row(`late-${one.at}`, one.at, "note", { words: one.text }));
  return [change, ...services, ...added];
}

const csv = () => [HEAD, ...rows().map((cells) => cells.map(cell).join(","))].join("\n") + "\n";
const fileName = () => `water-change-${dayOf(begun())}.csv`;

function download() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
  link.download = fileName();
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), MINUTE);
  write(byId("record-said"), `${fileName()} is made, at ${timeOfDay(Date.now())}.`);
}

async function copy() {
  const text = byId("record");
  let copied = true;
  try {
    await navigator.clipboard.writeText(text.value);
  } catch {
    text.focus();
    text.select();
    copied = document.execCommand("copy");
  }
  write(byId("record-said"), copied ? `Copied at ${timeOfDay(Date.now())}.` : "This browser does not copy: the text is marked, copy it by hand.");
}

// What was put in is in; only a slip of the finger is taken back, and only by two.
function takeBack() {
  const last = state.added.at(-1);
  if (!sure(`take back ${last.at}`)) return write(byId("record-said"), `If that was not put in, press once more: ${last.text}`);
  state.added.pop();
  write(byId("record-said"), "It is taken back.");
  save();
  return render();
}

function recordState() {
  if (!anything()) return "Nothing has been ticked yet.";
  return filledAt() ? "The change stands in the record." : "The tank is not full yet: the log would get a note, and no change.";
}

function renderRecord() {
  const changed = changedShare();
  write(byId("record-state"), recordState());
  write(byId("changed-problem"), changed ? "" : `'${state.typed.changed}' is read; more than 0 and up to 100 is wanted, such as 40.`);
  const text = recordText();
  if (byId("record").value !== text) byId("record").value = text;
  byId("download").disabled = !anything() || !changed;
  byId("copy").disabled = text === "";
  const last = state.added.at(-1);
  show(byId("take-back"), last !== undefined);
  write(byId("take-back"), last ? `Take back what was noted at ${timeOfDay(last.at)}` : "");
  write(byId("file-name"), anything() ? fileName() : "CSV");
}
