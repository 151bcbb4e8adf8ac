// Wet fingers tap twice. After a press nothing is pressed for a second, by a clock that nobody sets; and where it was, no
// other button comes to lie. What a program presses does not bounce.
const REST = 1000;
const SAME = 24; // px: so near, it is the same finger again
const CLEAR = 12; // px around the place that stay free
const SETTLE = [0, 300, 900];
const PRESSED = "button, a[href], input[type=checkbox], input[type=radio]";
/** @type {Press | null} */
let press = null;
/** @type {Point | null} */
let point = null; // where the finger was; none for keys
/** @type {PageElement | null} */
let follows = null; // the box whose label was pressed: its own click comes at once

const resting = () => press !== null && performance.now() - press.at < REST;
/** @param {Point | null} other */
const samePlace = (other) => (point && other ? Math.hypot(point.x - other.x, point.y - other.y) < SAME : point === other);
/** @param {PageElement} control */
const wordsOf = (control) => `${control.textContent} ${control.getAttribute("aria-label") ?? ""}`;

/** @param {PageElement} target */
function controlOf(target) {
  const found = target.closest?.(`${PRESSED}, label`);
  const control = found?.matches("label") ? found.control : found;
  return control?.matches(PRESSED) ? control : null;
}

// Alarms come by themselves, perhaps just under a finger.
/** @param {PageElement} control */
const tooFresh = (control) => byId("alarms").contains(control) && performance.now() - alarmsAt < REST;

/** @param {Event} event */
function guard(event) {
  const target = targetOf(event);
  const control = event.isTrusted ? controlOf(target) : null;
  if (!control) return;
  if (follows === control) {
    follows = null;
    return;
  }
  if (resting() || tooFresh(control)) return swallow(event);
  const own = control.contains(target);
  if (!own) follows = control;
  arm(control, own && control.type === "checkbox" ? !control.checked : control.checked);
}

/** @param {Event} event */
function swallow(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
  if (press && resting() && (samePlace(press.point) || controlOf(targetOf(event)) === press.control)) press.at = performance.now(); // it bounces on
  else say("Too soon after the last press: nothing was done. Press once more.");
}

/** @param {PageElement} control @param {boolean} checked */
function arm(control, checked) {
  const mine = { at: performance.now(), point, control, checked, words: wordsOf(control) };
  press = mine;
  byId("bar").style.paddingBottom = "";
  document.body.classList.add("resting");
  setTimeout(rested, REST);
  setTimeout(() => { follows = null; }, 0);
  for (const after of SETTLE) setTimeout(() => keepClear(mine), after);
}

function rested() {
  if (press && resting()) setTimeout(rested, REST - (performance.now() - press.at));
  else document.body.classList.remove("resting");
}

// Everything that can be pressed and is seen, but for what was pressed if it is still the same.
/** @param {Press} mine @param {Point} place */
function others(mine, place) {
  return [...document.querySelectorAll(PRESSED)]
    .filter((control) => control.getClientRects().length > 0)
    .filter((control) => control !== mine.control || wordsOf(control) !== mine.words || control.checked !== mine.checked)
    .map((control) => ({ inBar: byId("bar").contains(control), box: (control.closest("label") ?? control).getBoundingClientRect() }))
    .filter(({ box }) => place.x > box.left - CLEAR && place.x < box.right + CLEAR);
}

/** @param {Point} point @param {DOMRect} box @param {number} [moved] */
const lies = ({ y }, { top, bottom }, moved = 0) => y > top + moved - CLEAR && y < bottom + moved + CLEAR;

/** @param {Press} mine */
function keepClear(mine) {
  const place = mine.point;
  if (mine !== press || !place) return;
  const bar = byId("bar");
  if (!bar.hidden && place.y >= bar.getBoundingClientRect().top) clearBar(mine, place, bar);
  else clearPage(mine, place);
}

// The bar stands at the foot of the window: what is in it moves up.
/** @param {Press} mine @param {Point} place @param {PageElement} bar */
function clearBar(mine, place, bar) {
  for (let padding = 0; padding <= 160; padding += 8) {
    if (padding) bar.style.paddingBottom = `${padding}px`;
    if (!others(mine, place).some(({ inBar, box }) => inBar && lies(place, box))) return;
  }
}

// The page scrolls as little as will do, and rather down than away from what is to be read first.
/** @param {Press} mine @param {Point} place */
function clearPage(mine, place) {
  const boxes = others(mine, place).filter(({ inBar }) => !inBar).map(({ box }) => box);
  /** @param {number} moved */
  const free = (moved) => !boxes.some((box) => lies(place, box, moved));
  const most = document.documentElement.scrollHeight - innerHeight - scrollY;
  for (let away = 0; away < innerHeight; away += 4) {
    for (const moved of [away, -away / 2]) {
      if (free(moved) && moved <= scrollY && -moved <= most) {
        if (moved) scrollBy(0, -moved);
        return;
      }
    }
  }
}

// A key held down repeats itself.
/** @param {KeyboardEvent} event */
function holdBack(event) {
  if (event.repeat && (event.key === "Enter" || event.key === " ") && controlOf(targetOf(event))) event.preventDefault();
}

function wirePresses() {
  document.addEventListener("pointerdown", (event) => { point = { x: event.clientX, y: event.clientY }; }, true);
  document.addEventListener("keydown", (event) => { point = null; holdBack(event); }, true);
  document.addEventListener("click", guard, true);
  // Who scrolls has moved on: nothing is moved under that finger any more.
  for (const kind of ["wheel", "touchmove"]) document.addEventListener(kind, () => { if (press) press.point = null; }, { passive: true });
}
