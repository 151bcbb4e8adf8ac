// The sheet's own time never goes back, whatever is done to this phone's clock. What passes while the page lives is told
// by a clock that nobody sets; that one may stand still while the phone sleeps, so what is ahead of it counts as passed.
const JUMP = 3000;
const SEEN = `${KEY} seen`;
let behind = 0; // how far the phone's clock lags behind the sheet's time
let offset = Date.now() - performance.now(); // of the phone's clock against the one that nobody sets, when last looked at
let jumped = "";
let jumpedAt = -Infinity;
let seenAt = -Infinity;

const now = () => Date.now() + behind;

// slept: the page was out of sight until now, as it is while a phone sleeps.
/** @param {boolean} [slept] */
function watchClock(slept = false) {
  const found = Date.now() - performance.now();
  const jump = found - offset;
  offset = found;
  if (jump < -JUMP) fellBack(-jump);
  else if (jump > JUMP && !(slept && behind === 0)) ranAhead(jump, slept ? 0 : Math.min(behind, jump));
}

/** @param {string} text */
function tellJump(text) {
  jumped = text;
  jumpedAt = performance.now();
}

/** @param {number} by */
function fellBack(by) {
  behind += by;
  tellJump(`This phone's clock was put back by ${span(by)}. What runs is timed by what has really passed, and this sheet goes on in its old time.`);
}

// returned: so much only makes good what the clock was put back before.
/** @param {number} by @param {number} returned */
function ranAhead(by, returned) {
  behind -= returned;
  const ahead = by - returned;
  if (ahead <= JUMP) {
    tellJump("This phone's clock is right again.");
    return;
  }
  for (const run of plan.clocks.filter(running).map(lastRun)) run.jump = (run.jump ?? 0) + ahead;
  tellJump(`This phone's clock jumped ahead by ${span(ahead)}: it slept, or was set. Calls come as if that time had passed: look at the water.`);
  save();
}

// The latest time that stands in what is kept.
function lastKnown() {
  const runs = Object.values(state.clocks).flatMap((clock) => clock.runs);
  const times = [...Object.values(state.ticks), ...state.added.map((one) => one.at), ...runs.flatMap((run) => [run.start, run.stop ?? run.start])];
  try {
    if (anything()) times.push(Number(localStorage.getItem(SEEN) ?? 0));
  } catch {
    // Nothing is kept: what the tab knows must do.
  }
  return Math.max(...times.filter(isTime), -Infinity);
}

// A page that opens on times that are still to come: nobody knows how long its clocks have run, only how long at least.
function findFall() {
  const by = lastKnown() - now();
  if (by <= JUMP) return;
  behind += by;
  tellJump(`This phone's clock was put back by ${span(by)} or more while this page was closed. This sheet goes on in its old time.`);
  const unknown = plan.clocks.filter(running);
  for (const clock of unknown) state.clocks[clock.id].lost = "call";
  if (unknown.length) save();
}

// How late it has been on this sheet, for the page that opens next; kept apart, so that it overwrites nothing.
function markSeen() {
  seenAt = performance.now();
  try {
    localStorage.setItem(SEEN, String(now()));
  } catch {
    // As above.
  }
}
