// The plan, the elements of the page, and how times and amounts are said.
const plan = JSON.parse(document.getElementById("plan").textContent);
const stepById = new Map(plan.steps.map((step) => [step.id, step]));
const clockById = new Map(plan.clocks.map((clock) => [clock.id, clock]));
const MINUTE = 60000;

const byId = (id) => document.getElementById(id);
const two = (number) => String(number).padStart(2, "0");
const show = (element, shown) => { element.hidden = !shown; };
// Only what has changed is written: a screen reader announces a live region that is written again.
const write = (element, text) => { if (element.textContent !== text) element.textContent = text; };

function made(tag, text, className) {
  const element = document.createElement(tag);
  element.textContent = text;
  if (className) element.className = className;
  return element;
}

function button(text, className, action) {
  const element = made("button", text, className);
  element.type = "button";
  element.addEventListener("click", action);
  return element;
}

function timeOfDay(at) {
  const date = new Date(at);
  return `${two(date.getHours())}:${two(date.getMinutes())}`;
}

function dayOf(at) {
  const date = new Date(at);
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

// ISO 8601 with the offset of this place: 2026-03-14T18:30:05+01:00.
function isoTime(at) {
  const date = new Date(at);
  const offset = -date.getTimezoneOffset();
  const away = Math.abs(offset);
  const zone = `${offset < 0 ? "-" : "+"}${two(Math.floor(away / 60))}:${two(away % 60)}`;
  return `${dayOf(at)}T${timeOfDay(at)}:${two(date.getSeconds())}${zone}`;
}

// Minutes and seconds of a span, or hours too: 7:05, 1:02:05.
function span(milliseconds) {
  const seconds = Math.max(Math.floor(milliseconds / 1000), 0);
  const hours = Math.floor(seconds / 3600);
  const rest = `${Math.floor(seconds / 60) % 60}:${two(seconds % 60)}`;
  return hours ? `${hours}:${rest.padStart(5, "0")}` : rest;
}

// So many digits at most, without idle zeros and powers of ten.
function figure(number, digits) {
  if (number === 0) return "0";
  const decimals = Math.min(Math.max(digits - 1 - Math.floor(Math.log10(Math.abs(number))), 0), 20);
  const text = number.toFixed(decimals);
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

// A dose is rounded up to three digits, but for one part in two thousand.
function roundedDose(amount) {
  if (amount <= 0) return "0";
  const step = 10 ** (Math.floor(Math.log10(amount)) - 2);
  return figure(Math.ceil((amount * 0.9995) / step - 1e-9) * step, 3);
}
