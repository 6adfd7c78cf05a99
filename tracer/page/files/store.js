// What is kept in the phone: each reading under a name of its own, so that two windows of one page never write over each other.

const store = (() => {
  const memory = new Map();
  let base = "";
  let works = true;

  function begin(of) {
    base = `tracer/${of}/`;
    try {
      localStorage.setItem(`${base}test`, "1");
      works = localStorage.getItem(`${base}test`) === "1";
      localStorage.removeItem(`${base}test`);
    } catch {
      works = false;
    }
  }

  /** Keep a value; it is read back before this says so. */
  function put(name, value) {
    const text = JSON.stringify(value);
    memory.set(base + name, text);
    if (!works) return false;
    try {
      localStorage.setItem(base + name, text);
      if (localStorage.getItem(base + name) === text) return true;
    } catch {
      // full, or taken away: said below
    }
    works = false;
    return false;
  }

  function get(name) {
    let text = null;
    try {
      if (works) text = localStorage.getItem(base + name);
    } catch {
      works = false;
    }
    text = text === null ? memory.get(base + name) : text;
    return text === null || text === undefined ? null : JSON.parse(text);
  }

  function names(prefix) {
    const found = new Set([...memory.keys()]);
    try {
      if (works) for (let n = 0; n < localStorage.length; n += 1) found.add(localStorage.key(n));
    } catch {
      works = false;
    }
    return [...found].filter((name) => name.startsWith(base + prefix)).map((name) => name.slice(base.length));
  }

  return { begin, put, get, names, get works() { return works; } };
})();

const letters = "abcdefghijkmnpqrstuvwxyz23456789";
const mine = [...crypto.getRandomValues(new Uint8Array(6))].map((byte) => letters[byte % letters.length]).join("");
let written = 0;

/** At the desk a reading belongs to the case that it went into; on the way it belongs to whichever is current. */
const ofThisCase = (one) => !LIVE || !one.case || !theCase || one.case === theCase.id;

/** Everything kept and not put away, in the order in which it was read. */
function records() {
  return store.names("read/").map((name) => store.get(name)).filter((one) => one && !one.away && ofThisCase(one))
    .sort((a, b) => a.at - b.at || a.id.localeCompare(b.id, "en", { numeric: true }));
}

/** Keep a record; it gets its name here. What becomes of it shows only after it is kept. */
function keep(record) {
  written += 1;
  const whole = { id: `${mine}-${written}`, at: Date.now(), edition: page.edition, sent: false, ...record };
  store.put(`read/${whole.id}`, whole);
  if (LIVE) handOver();
  return whole;
}

function mark(record, change) {
  store.put(`read/${record.id}`, { ...record, ...change });
}

/** The reading that counts of each card: without those that a later one corrects. */
function standing() {
  const all = records();
  const corrected = new Set(all.map((one) => one.insteadOf).filter(Boolean));
  return all.filter((one) => !corrected.has(one.id));
}
