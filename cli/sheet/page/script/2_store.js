// What was ticked, timed and typed, kept on this device for this plan alone.
const KEY = `tapwright ${plan.id}`;
const EMPTY = { ticks: {}, clocks: {}, typed: {} };
let state = structuredClone(EMPTY);
let kept = true;

const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);

function load() {
  try {
    const found = JSON.parse(localStorage.getItem(KEY) ?? "null");
    const whole = isObject(found) && ["ticks", "clocks", "typed"].every((part) => isObject(found[part]));
    state = whole ? found : structuredClone(EMPTY);
  } catch {
    kept = false;
  }
}

function save() {
  try {
    localStorage.setItem(KEY, JSON.stringify(state));
  } catch {
    kept = false;
  }
}

function startAfresh() {
  state = structuredClone(EMPTY);
  save();
}

const firstTick = () => Math.min(...Object.values(state.ticks));
