// What was ticked, timed, read and typed, kept on this device for this plan alone.
const KEY = `tapwright ${plan.id}`;
/** @returns {State} */
const empty = () => ({ ticks: {}, clocks: {}, typed: {}, added: [], wiped: null });
let state = empty();
let kept = true;
let saves = 0;

/** @param {any} value */
const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
/** @param {any} at */
const isTime = (at) => Number.isFinite(at) && Math.abs(at) < 8e15;
/** @param {any} run */
const isRun = (run) => isObject(run) && isTime(run.start) && (run.stop === undefined || isTime(run.stop));
/** @param {any} clock */
const isClock = (clock) => isObject(clock) && Array.isArray(clock.runs) && clock.runs.length > 0 && clock.runs.every(isRun) && Number.isInteger(clock.answered);

// What was put in beside the plan: half again of a step's doses, where one is named.
/** @param {any} one */
const isAdded = (one) => isObject(one) && isTime(one.at) && typeof one.text === "string" && (one.half === undefined || stepById.has(one.half));

// Anything else than this page has written is not taken for its own.
/** @param {any} found @returns {found is State} */
function isState(found) {
  return isObject(found)
    && isObject(found.ticks) && Object.entries(found.ticks).every(([id, at]) => stepById.has(id) && isTime(at))
    && isObject(found.clocks) && Object.entries(found.clocks).every(([id, clock]) => clockById.has(id) && isClock(clock))
    && isObject(found.typed) && Object.values(found.typed).every((text) => typeof text === "string")
    && Array.isArray(found.added) && found.added.every(isAdded);
}

/** @param {string | null} text */
function parsed(text) {
  try {
    const found = JSON.parse(text ?? "null");
    return isState(found) ? found : null;
  } catch {
    return null;
  }
}

// Kept twice: a busy browser was seen to show a page that was reloaded an empty localStorage, and all of it at the next
// reload. What the tab itself remembers outlives that; the one of more saves is the later.
function load() {
  const texts = history.state?.key === KEY ? [history.state.text] : [];
  try {
    texts.push(localStorage.getItem(KEY));
  } catch {
    kept = false;
  }
  /** @param {State} found */
  const order = ({ saves: count }) => (count !== undefined && Number.isInteger(count) ? count : 0);
  const [latest] = texts.map(parsed).filter((found) => found !== null).sort((one, other) => order(other) - order(one));
  if (!latest) return;
  state = latest;
  saves = order(latest);
}

const asText = () => JSON.stringify({ ...state, saves });

// After a jump within the page as well: the tab remembers each place by itself.
function keepInTab() {
  try {
    history.replaceState({ key: KEY, text: asText() }, "");
  } catch {
    // Refused where it comes too often: localStorage has it.
  }
}

function save() {
  saves += 1;
  keepInTab();
  const record = ownRecord();
  try {
    localStorage.setItem(KEY, asText());
    if (record) localStorage.setItem(RECORD + plan.id, record);
    else localStorage.removeItem(RECORD + plan.id);
    kept = true;
  } catch {
    kept = false;
  }
  markSeen();
}

// When the record begins, which names its entries: with a tick, or with what was put in before any.
const begun = () => Math.min(...Object.values(state.ticks), ...state.added.map((one) => one.at));
const anything = () => Number.isFinite(begun());

// A second press confirms, but not one that comes at once: wet hands tap twice.
const DEAD = 2000;
const ASKED = MINUTE;
/** @type {{ what: string, at: number } | null} */
let asked = null;
let addedAt = -Infinity;

/** @param {string} what */
const ask = (what) => { asked = { what, at: performance.now() }; };

// Whether a first press was for this, and not too long ago.
/** @param {string} what */
const askedFor = (what) => asked?.what === what && performance.now() - asked.at < ASKED;

/** @param {string} what */
function sure(what) {
  if (!askedFor(what)) {
    ask(what);
    return false;
  }
  if (performance.now() - present(asked).at < DEAD) return false;
  asked = null;
  return true;
}

// A tap that bounces is not a second dose. False where nothing was noted; else it is to be saved.
/** @param {Omit<Added, "at">} one */
function noteAdded(one) {
  if (performance.now() - addedAt < DEAD) return false;
  addedAt = performance.now();
  state.added.push({ at: now(), ...one });
  return true;
}
