// Wet fingers tap twice. After a press nothing is pressed for a second, by a clock that nobody sets; and where it was, no
// other button comes to lie. What a program presses does not bounce.
const REST = 1000;
const SAME = 24; // px: so near, it is the same finger again
const CLEAR = 12; // px around the place that stay free
const SETTLE = [0, 300, 900];
const PRESSED = "button, a[href], input[type=checkbox], input[type=radio]";
let press = null;
let point = null; // where the finger was; none for keys
let follows = null; // the box whose label was pressed: its own click comes at once

const resting = () => press !== null && performance.now() - press.at < REST;
const samePlace = (other) => (point && other ? Math.hypot(point.x - other.x, point.y - other.y) < SAME : point === other);
const wordsOf = (control) => `${control.textContent} ${control.getAttribute("aria-label") ?? ""}`;

function controlOf(target) {
  const found = target.closest?.(`${PRESSED}, label`);
  const control = found?.matches("label") ? found.control : found;
  return control?.matches(PRESSED) ? control : null;
}

// Alarms come by themselves, perhaps just under a finger.
const tooFresh = (control) => byId("alarms").contains(control) && performance.now() - alarmsAt < REST;

function guard(event) {
  const control = event.isTrusted ? controlOf(event.target) : null;
  if (!control) return;
  if (follows === control) {
    follows = null;
    return;
  }
  if (resting() || tooFresh(control)) return swallow(event);
  const own = control.contains(event.target);
  if (!own) follows = control;
  arm(control, own && control.type === "checkbox" ? !control.checked : control.checked);
}

function swallow(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
  if (resting() && (samePlace(press.point) || controlOf(event.target) === press.control)) press.at = performance.now(); // it bounces on
  else say("Too soon after the last press: nothing was done. Press once more.");
}

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
  if (resting()) setTimeout(rested, REST - (performance.now() - press.at));
  else document.body.classList.remove("resting");
}

// Everything that can be pressed and is seen, but for what was pressed if it is still the same.
function others(mine) {
  return [...document.querySelectorAll(PRESSED)]
    .filter((control) => control.getClientRects().length > 0)
    .filter((control) => control !== mine.control || wordsOf(control) !== mine.words || control.checked !== mine.checked)
    .map((control) => ({ inBar: byId("bar").contains(control), box: (control.closest("label") ?? control).getBoundingClientRect() }))
    .filter(({ box }) => mine.point.x > box.left - CLEAR && mine.point.x < box.right + CLEAR);
}

const lies = ({ y }, { top, bottom }, moved = 0) => y > top + moved - CLEAR && y < bottom + moved + CLEAR;

function keepClear(mine) {
  if (mine !== press || !mine.point) return;
  const bar = byId("bar");
  if (!bar.hidden && mine.point.y >= bar.getBoundingClientRect().top) clearBar(mine, bar);
  else clearPage(mine);
}

// The bar stands at the foot of the window: what is in it moves up.
function clearBar(mine, bar) {
  for (let padding = 0; padding <= 160; padding += 8) {
    if (padding) bar.style.paddingBottom = `${padding}px`;
    if (!others(mine).some(({ inBar, box }) => inBar && lies(mine.point, box))) return;
  }
}

// The page scrolls as little as will do, and rather down than away from what is to be read first.
function clearPage(mine) {
  const boxes = others(mine).filter(({ inBar }) => !inBar).map(({ box }) => box);
  const free = (moved) => !boxes.some((box) => lies(mine.point, box, moved));
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
function holdBack(event) {
  if (event.repeat && (event.key === "Enter" || event.key === " ") && controlOf(event.target)) event.preventDefault();
}

function wirePresses() {
  document.addEventListener("pointerdown", (event) => { point = { x: event.clientX, y: event.clientY }; }, true);
  document.addEventListener("keydown", (event) => { point = null; holdBack(event); }, true);
  document.addEventListener("click", guard, true);
  // Who scrolls has moved on: nothing is moved under that finger any more.
  for (const kind of ["wheel", "touchmove"]) document.addEventListener(kind, () => { if (press) press.point = null; }, { passive: true });
}
