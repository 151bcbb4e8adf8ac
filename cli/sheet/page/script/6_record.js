// What was done and when: as text, and as a file that the log takes in.
const HEAD = "uid,tank,at,kind,share,dosed,part,note";

const filledAt = () => state.ticks.fill_end;
const pumps = plan.steps.filter((step) => step.id.endsWith("_pump"));
const litresEach = plan.volume_l / Math.max(pumps.length, 1);

// The part of a flow that has run, by its clock; all of it where the step that ends it is ticked.
/** @param {Step} step @param {Clock["kind"]} kind */
function partRun(step, kind) {
  const clock = plan.clocks.find((one) => one.kind === kind && one.starts === step.id);
  if (!clock) return Number(ticked(step));
  if (ticked(stepOf(clock.ends))) return 1;
  return Math.min(elapsed(clock) / (clock.predicted * MINUTE), 1);
}

// Litres in and out so far; whole parts are known, others reckoned by the clock.
const filledParts = () => pumps.map((step) => partRun(step, "fill"));
const filledLitres = () => sum(filledParts()) * litresEach;
const drainedLitres = () => plan.volume_l * sum(plan.steps.filter((step) => step.id === "drain_start").map((step) => partRun(step, "drain")));
/** @param {number} part */
const whole = (part) => part === 0 || part === 1;
/** @param {Step} step */
const isIn = (step) => !step.tote || filledParts()[pumps.findIndex((pump) => pump.tote === step.tote)] > 0;

// What was put in, summed over the steps that are ticked and what a test asked for beside them.
/** @param {(step: Step) => boolean} [counts] */
function dosed(counts = () => true) {
  const sums = new Map();
  const planned = plan.steps.filter((step) => ticked(step) && counts(step)).flatMap((step) => step.doses ?? []);
  const more = state.added.map((one) => stepById.get(one.half ?? "")).filter((step) => step !== undefined).filter(counts).flatMap(halfAgain);
  for (const dose of [...planned, ...more]) {
    const before = sums.get(dose.name)?.amount ?? 0;
    sums.set(dose.name, { amount: before + dose.amount, unit: dose.unit });
  }
  return [...sums].map(([name, all]) => `${figure(all.amount, 4)} ${all.unit} ${name}`).join("; ");
}

// Of a change that is not finished: what went out and came back, and what lies in totes that are not in the tank.
function soFar() {
  if (filledAt()) return [];
  const [out, back, ready] = [drainedLitres(), filledLitres(), dosed((step) => !isIn(step))];
  /** @param {number[]} parts */
  const about = (parts) => (parts.every(whole) ? "" : "about ");
  return [
    out ? `Drained ${about([out / plan.volume_l])}${Math.round(out)} L` : "",
    back ? `filled ${about(filledParts())}${Math.round(back)} L, ${figure((100 * plan.share * back) / plan.volume_l, 3)} % of the tank` : out ? "nothing filled back" : "",
    dosed(isIn) && back ? `put in: ${dosed(isIn)}` : "",
    ready ? `in totes that are not in the tank: ${ready}` : "",
  ].filter(Boolean);
}

/** @param {string} text */
const oneLine = (text) => text.replace(/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]+/gu, " ").trim();
const note = () => oneLine(state.typed.note ?? "");

// The planned share, or of an evening that ended early the share so far.
const plannedShare = () => (ended() ? (plan.share * filledLitres()) / plan.volume_l : plan.share);
const ended = () => state.typed.ended === "yes" && !filledAt();

function changedShare() {
  const text = state.typed.changed ?? "";
  return text.trim() === "" ? 100 * plannedShare() : typedNumber(text, 100) || null;
}

/** @param {Clock} clock */
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
  const changedAtAll = share && (filledAt() || ended());
  const events = [...steps.map((step) => ({ at: state.ticks[step.id], text: step.name })), ...state.added];
  const lines = [
    `Water change for ${plan.tank}, ${dayOf(events[0].at)}`,
    changedAtAll ? changed : "",
    ...soFar(),
    dosed() ? `Put in: ${dosed()}` : "",
    ...events.sort((one, other) => one.at - other.at).map((event) => `${timeOfDay(event.at)} ${event.text}`),
    ...timesTaken(),
    unfinished(),
    note() ? `Seen: ${note()}` : "",
  ];
  return lines.filter(Boolean).join("\n");
}

// A spreadsheet would take these for a formula and run it; the log takes the apostrophe away again.
/** @param {string} value */
const bare = (value) => (/^'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/.test(value) ? `'${value}` : value);
/** @param {string} value */
const quoted = (value) => (/[",\n]/.test(value) ? `"${value.replaceAll('"', '""')}"` : value);
/** @param {string} value */
const cell = (value) => quoted(bare(value));

// Letters that change with the words: a note that says more is another note.
/** @param {string} words */
function mark(words) {
  let found = 0;
  for (const letter of words) found = (Math.imul(found, 31) + present(letter.codePointAt(0))) >>> 0;
  return found.toString(36);
}

// One entry for the change once the tank is full or the evening is ended, else a note; one for each service, and for each
// dose beside the plan.
function rows() {
  const steps = plan.steps.filter(ticked);
  const run = `${plan.id}-${begun()}`;
  /** @param {string} name @param {number} at @param {string} kind @param {Cells} cells */
  const row = (name, at, kind, { share = "", doses = "", part = "", words = "" }) =>
    [`${run}-${name}`, plan.tank, isoTime(at), kind, share, doses, part, words];
  const services = steps.filter((step) => step.service).map((step) => row(step.id, state.ticks[step.id], "service", { part: step.service }));
  const added = state.added.map((one) => row(`late-${one.at}`, one.at, "note", { words: one.text }));
  return [changeRow(row, steps), ...services, ...added];
}

/** @param {(name: string, at: number, kind: string, cells: Cells) => string[]} row @param {Step[]} steps */
function changeRow(row, steps) {
  const seen = [...timesTaken(), note()].filter(Boolean);
  const share = String(Number(((changedShare() ?? 0) / 100).toFixed(6)));
  const last = steps.length ? state.ticks[present(steps.at(-1)).id] : begun();
  if (filledAt() && changedShare()) return row("change", filledAt(), "change", { share, doses: dosed(), words: seen.join("; ") });
  const words = [ended() ? "Water change ended, tank not full" : "Water change begun, tank not full", unfinished(), ...soFar(), ...seen].filter(Boolean).join("; ");
  if (ended() && changedShare()) return row(`part-${steps.length}`, last, "change", { share, doses: dosed(isIn), words });
  return row(`note-${steps.length}-${mark(words)}`, last, "note", { words });
}

const csv = () => [HEAD, ...rows().map((cells) => cells.map(cell).join(","))].join("\n") + "\n";
const fileName = () => `water-change-${dayOf(begun())}.csv`;

/** @param {string} name @param {string} text */
function offer(name, text) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), MINUTE);
  write(byId("record-said"), `${name} is made, at ${timeOfDay(now())}.`);
}

const download = () => offer(fileName(), csv());

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
  write(byId("record-said"), copied ? `Copied at ${timeOfDay(now())}.` : "This browser does not copy: the text is marked, copy it by hand.");
}

// What was put in is in; only a slip of the finger is taken back, and only by two.
function takeBack() {
  const last = present(state.added.at(-1));
  if (!sure(`take back ${last.at}`)) return write(byId("record-said"), `If that was not put in, press once more: ${last.text}`);
  state.added.pop();
  write(byId("record-said"), "It is taken back.");
  save();
  return render();
}

function recordState() {
  if (!anything()) return "Nothing has been ticked yet.";
  if (filledAt()) return "The change stands in the record.";
  if (!ended()) return "The tank is not full yet: the log would get a note, and no change.";
  const change = changedShare() ? "what was changed so far stands in the record" : "nothing was changed, and the log gets a note";
  return `The evening ended here: ${change}. If you go on and the log has it already, take that entry back in the log first.`;
}

// An evening that stops half way: what was done counts, and going on is still possible.
function pressEnd() {
  if (ended()) delete state.typed.ended;
  else state.typed.ended = "yes";
  save();
  render();
}

function renderRecord() {
  const changed = changedShare();
  write(byId("record-state"), recordState());
  const nothing = ended() && !filledLitres() && (state.typed.changed ?? "") === "";
  write(byId("end"), ended() ? "It goes on after all" : "The evening ends here, with the tank not full");
  show(byId("end"), anything() && !filledAt());
  byId("changed").placeholder = figure(100 * plannedShare(), 4);
  write(byId("changed-problem"), changed || nothing ? "" : `'${state.typed.changed}' is read; more than 0 and up to 100 is wanted, such as 40.`);
  const text = recordText();
  if (byId("record").value !== text) byId("record").value = text;
  byId("download").disabled = !anything() || !(changed || nothing);
  byId("copy").disabled = text === "";
  const last = state.added.at(-1);
  show(byId("take-back"), last !== undefined);
  write(byId("take-back"), last ? `Take back what was noted at ${timeOfDay(last.at)}` : "");
  write(byId("file-name"), anything() ? fileName() : "CSV");
}
