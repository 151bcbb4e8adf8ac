// The record of a plan outlives it: planned anew within an evening, the new page tells what the old one had.
const RECORD = "tapwright record ";
const OLDEST = 12 * 60 * MINUTE;
const ENTRIES = ["tank", "last", "text", "csv", "file"];

// What is kept of this plan for the next, with every save; null where nothing was done.
function ownRecord() {
  if (!anything()) return null;
  const flowing = plan.clocks.filter((clock) => flows(clock) && running(clock));
  const done = lastTicked();
  const last = done ? `has ticks up to '${done.name}'` : "has a dose noted";
  const still = flowing.map((clock) => ({ name: clock.name, since: lastRun(clock).start }));
  return JSON.stringify({ at: now(), tank: plan.tank, last, text: recordText(), csv: csv(), file: fileName(), still });
}

/** @param {any} found @returns {found is Earlier} */
function isRecord(found) {
  return isObject(found) && isTime(found.at) && ENTRIES.every((name) => typeof found[name] === "string")
    && Array.isArray(found.still) && found.still.every((/** @type {any} */ one) => isObject(one) && typeof one.name === "string" && isTime(one.since));
}

// Records of other plans for this tank, the latest first.
function earlierRecords() {
  const found = [];
  try {
    for (let place = 0; place < localStorage.length; place += 1) {
      const key = localStorage.key(place) ?? "";
      if (!key.startsWith(RECORD) || key === RECORD + plan.id) continue;
      found.push(JSON.parse(localStorage.getItem(key) ?? "null"));
    }
  } catch {
    // What cannot be read says nothing.
  }
  return found.filter((one) => isRecord(one) && one.tank === plan.tank && Math.abs(now() - one.at) < OLDEST).sort((one, other) => other.at - one.at);
}

/** @param {Earlier} record */
function earlierOf(record) {
  const box = made("div", "");
  const text = made("textarea", "");
  Object.assign(text, { value: record.text, readOnly: true, rows: 6 });
  text.setAttribute("aria-label", `Record of the earlier plan, ${timeOfDay(record.at)}`);
  box.append(made("p", `An earlier plan of this evening ${record.last} (${timeOfDay(record.at)}); they are not carried over. Its record, with its doses and share for the log:`));
  for (const flow of record.still) box.append(made("p", `Its clock '${flow.name}' has run since ${timeOfDay(flow.since)} and was not stopped: look at the water.`, "care"));
  box.append(text, button("Download the earlier record", "", () => offer(record.file.replace(/\.csv$/, "-earlier.csv"), record.csv)));
  return box;
}

let earlierShown = "";

function renderEarlier() {
  const records = earlierRecords();
  const wanted = JSON.stringify(records);
  if (wanted === earlierShown) return;
  earlierShown = wanted;
  byId("earlier-records").replaceChildren(...records.map(earlierOf));
  show(byId("earlier"), records.length > 0);
}
