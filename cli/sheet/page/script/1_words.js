// The plan, the elements of the page, and how times and amounts are said.
/** @type {Plan} */
const plan = JSON.parse(document.getElementById("plan").textContent);
// What cannot be missing where this is asked.
/** @template T @param {T | null | undefined} found */
const present = (found) => /** @type {T} */ (found);

const stepById = new Map(plan.steps.map((step) => [step.id, step]));
const clockById = new Map(plan.clocks.map((clock) => [clock.id, clock]));
const MINUTE = 60000;

/** @param {string} id */
const byId = (id) => document.getElementById(id);
/** @param {string} id */
const stepOf = (id) => present(stepById.get(id));
/** @param {string} id */
const clockOf = (id) => present(clockById.get(id));
/** @param {number} number */
const two = (number) => String(number).padStart(2, "0");
/** @param {HTMLElement} element @param {boolean} shown */
const show = (element, shown) => { element.hidden = !shown; };
/** @param {Event} event */
const targetOf = (event) => /** @type {PageElement} */ (event.target);
// Only what has changed is written: a screen reader announces a live region that is written again.
/** @param {Element} element @param {string} text */
const write = (element, text) => { if (element.textContent !== text) element.textContent = text; };

/** @template {keyof HTMLElementTagNameMap} T @param {T} tag @param {string} text @param {string} [className] */
function made(tag, text, className) {
  const element = document.createElement(tag);
  element.textContent = text;
  if (className) element.className = className;
  return element;
}

/** @param {string} text @param {string} className @param {() => unknown} action */
function button(text, className, action) {
  const element = made("button", text, className);
  element.type = "button";
  element.addEventListener("click", action);
  return element;
}

/** @param {number} at */
function timeOfDay(at) {
  const date = new Date(at);
  return `${two(date.getHours())}:${two(date.getMinutes())}`;
}

/** @param {number} at */
function dayOf(at) {
  const date = new Date(at);
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

// ISO 8601 with the offset of this place: 2026-03-14T18:30:05+01:00.
/** @param {number} at */
function isoTime(at) {
  const date = new Date(at);
  const offset = -date.getTimezoneOffset();
  const away = Math.abs(offset);
  const zone = `${offset < 0 ? "-" : "+"}${two(Math.floor(away / 60))}:${two(away % 60)}`;
  return `${dayOf(at)}T${timeOfDay(at)}:${two(date.getSeconds())}${zone}`;
}

// Minutes and seconds of a span, or hours too: 7:05, 1:02:05.
/** @param {number} milliseconds */
function span(milliseconds) {
  const seconds = Math.max(Math.floor(milliseconds / 1000), 0);
  const hours = Math.floor(seconds / 3600);
  const rest = `${Math.floor(seconds / 60) % 60}:${two(seconds % 60)}`;
  return hours ? `${hours}:${rest.padStart(5, "0")}` : rest;
}

// So many digits at most, without idle zeros and powers of ten.
/** @param {number} number @param {number} digits */
function figure(number, digits) {
  if (number === 0) return "0";
  const decimals = Math.min(Math.max(digits - 1 - Math.floor(Math.log10(Math.abs(number))), 0), 20);
  const text = number.toFixed(decimals);
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

// A dose is rounded up to three digits, but for one part in two thousand.
/** @param {number} amount */
function roundedDose(amount) {
  if (amount <= 0) return "0";
  const step = 10 ** (Math.floor(Math.log10(amount)) - 2);
  return figure(Math.ceil((amount * 0.9995) / step - 1e-9) * step, 3);
}
