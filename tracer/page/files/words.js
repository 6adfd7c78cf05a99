// The words of a case: conditions, readings, and the text that is handed over (docs/case.md, docs/pocket.md).

function newConditions() {
  return { key: page.keys[0], plug: "in", lamp: null, other: "-", symptom: "", engine: false, asleep: false, out: [], leads: [], battery: "", batteryAt: 0, turnedAt: 0, hand: "" };
}

function conditionWords(on) {
  return [
    `key=${on.key}`, `plug=${on.plug}`, `lamp=${on.lamp === null ? "none" : `${on.lamp}W`}`, `other=${on.other}`,
    ...(on.symptom ? [`symptom=${on.symptom}`] : []), `engine=${on.engine ? "on" : "off"}`, `asleep=${on.asleep ? "yes" : "no"}`,
    `out=${on.out.length ? on.out.join(",") : "none"}`, `lead=${on.leads.length ? on.leads.join(",") : "none"}`, ...(on.hand ? [`hand=${on.hand}`] : []), ...(on.battery ? [`battery=${on.battery}`] : []),
  ];
}

/** Why the battery must be read now; empty while its volts hold. */
function batteryIsOld(on) {
  if (!on.battery) return "The battery was not read yet.";
  if (on.batteryAt < on.turnedAt) return "The key was turned since the battery was read.";
  const age = (Date.now() - on.batteryAt) / 1000;
  return age > page.battery_holds_s || age < 0 ? `The battery was read ${Math.round(age / 60)} minutes ago.` : "";
}

function setCondition(change) {
  const turned = "key" in change && change.key !== state.on.key ? { turnedAt: Date.now() } : "engine" in change && change.engine !== state.on.engine ? { turnedAt: Date.now() } : {};
  state.on = { ...state.on, ...change, ...turned };
  store.put("conditions", state.on);
}

function iso(milliseconds) {
  const date = new Date(milliseconds);
  const two = (value) => String(Math.floor(Math.abs(value))).padStart(2, "0");
  const off = -date.getTimezoneOffset();
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}T${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}${off < 0 ? "-" : "+"}${two(off / 60)}:${two(Math.abs(off) % 60)}`;
}

const crcTable = Uint32Array.from({ length: 256 }, (_, n) => {
  let value = n;
  for (let bit = 0; bit < 8; bit += 1) value = value & 1 ? 0xedb88320 ^ (value >>> 1) : value >>> 1;
  return value >>> 0;
});

function crc(text) {
  let value = 0xffffffff;
  for (const byte of new TextEncoder().encode(text)) value = crcTable[(value ^ byte) & 255] ^ (value >>> 8);
  return ((value ^ 0xffffffff) >>> 0).toString(16).padStart(8, "0");
}

/** The same as `visible` in tracer/entry/visible.py, for what is typed here: what nobody sees, or what turns the line around, stands as its number. */
const visible = (text) => text.replace(/[\t\n\v\f\r\x85\u2028\u2029]/g, " ")
  .replace(/[\p{Cc}\p{Cf}\p{Cs}\p{NChar}]|(?!\p{Cn})\p{DI}/gu, (letter) => `<U+${letter.codePointAt(0).toString(16).toUpperCase().padStart(4, "0")}>`);

/** What was typed, as text of one line. */
const single = (text) => visible(text).trim().split(/\s+/).join(" ");

/** One record as a line: its name, the check of what follows, the conditions, what was read, and why. */
function line(record) {
  const before = [`at=${iso(record.at)}`, ...record.on, ...(record.age === null ? [] : [`read=${record.age}s`]), ...(record.insteadOf ? [`instead-of=${record.insteadOf}`] : [])];
  const said = single(`${before.join(" ")} : ${record.said}${record.why ? ` # ${record.why}` : ""}`);
  return `${record.id} ${crc(said)} ${said}`;
}

/** The text that `tracer read --from` takes. */
function handedText(of) {
  const head = `tracer readings 1 ${page.module.split(/\s+/).join("_")} ${page.edition} of ${single(page.vehicle)}`;
  return [head, ...of.map(line), `end ${of.length}`, ""].join("\n");
}

/** Keep what was read of a card or point under the conditions that hold. */
function keepReading(card, values, more) {
  const said = `${card.full}=${values.map((one) => one.replace(",", ".").replace(/^-?\./, (dot) => dot.replace(".", "0."))).join("/")}${more && more.lit ? "/lit" : ""}`;
  const age = state.on.battery ? Math.round((Date.now() - state.on.batteryAt) / 1000) : null;
  return keep({ on: conditionWords(state.on), under: conditionsShown(), age, said, why: "", card: signature(card), name: card.name, full: card.full, values, judged: judged(card, values).sign, ...more });
}

function keepNote(said, more) {
  return keep({ on: [], age: null, said, why: "", card: "", name: said, full: "", values: [], judged: "", ...more });
}

/** What tells one card from another, whatever the edition numbers them. */
function signature(card) {
  return [card.kind, card.full, card.key, (card.out || []).join("+"), ...(card.kind === "beside" && card.asleep ? ["asleep"] : []), ...(card.hand ? [card.hand] : [])].join("|");
}

/** What was typed, as it is shown: `gt600` is more than 600. */
const shownValues = (values) => values.map((one) => one.replace(/^gt/, "more than ")).join(" / ");

/** What was read beside the tests of the pins. */
function besideJudged(card, text) {
  const { low, high } = card.figure;
  if (card.fields[0] === "seconds") return text.startsWith("gt") ? { sign: "beyond", words: "still live" } : { sign: "", words: "no figure: the maker's" };
  const value = text === "OL" ? (card.fields[0] === "ohms" ? Infinity : NaN) : text === "dead" ? 0 : typed(text);
  if ((low === null && high === null) || Number.isNaN(value)) return { sign: "", words: "no figure to hold it against" };
  const fits = (low === null || value >= low) && (high === null || value <= high);
  return { sign: fits ? "within" : "beyond", words: fits ? "in order" : "not in order" };
}

/** What was read against the figure of the plan, by as much as the case lets a meter be off: a hint only, since only the proof knows the whole way. */
function judged(card, values) {
  const figure = card.figure || {};
  const { battery, other } = state.on;
  const [first, second] = values.map(typed);
  const direct = (card.level === "supply") === (other === "+");
  const word = values.find((one) => Number.isNaN(typed(one)));
  if (figure.dead) {
    if (word === "dead") return { sign: "within", words: "dead, as it must be" };
    return { sign: "beyond", words: "not dead: does it light the lamp?" };
  }
  if (card.kind === "beside") return besideJudged(card, values[0]);
  if (card.kind === "asked") return { sign: "", words: "what it means says the case" };
  if (word) return card.level === "ground" || card.kind === "bus" ? { sign: "", words: word } : { sign: "beyond", words: `${word}, where it must be live` };
  if (figure.ohms) {
    const fits = first >= figure.ohms[0] && first <= figure.ohms[1];
    return { sign: fits ? "within" : "beyond", words: `${number(first, 1)} Ω, ${fits ? "within" : "outside"} ${number(figure.ohms[0], 1)} to ${number(figure.ohms[1], 1)} Ω` };
  }
  if (figure.least_v !== undefined) {
    const fits = first >= figure.least_v;
    return { sign: fits ? "within" : "beyond", words: `${volts(first)}, ${fits ? "not below" : "below"} ${volts(figure.least_v)}` };
  }
  const found = [];
  if (values.length === 2 && figure.moved_v !== null && figure.moved_v !== undefined) {
    const moved = direct ? second - first : first - second;
    found.push([moved <= figure.moved_v + page.meter_off_v + 1e-9, `moved by ${volts(moved)}, figure ${volts(figure.moved_v)}`]);
  }
  if (figure.lost_v !== null && figure.lost_v !== undefined && (direct || battery)) {
    const lost = direct ? first : Number(battery) - first;
    const most = Math.max(figure.lost_v, 0.01);
    found.push([lost <= most + 2 * page.meter_off_v + 1e-9, `${volts(lost)} off its post, figure ${volts(most)}`]); // battery and pin: two readings
  }
  if (!found.length) return { sign: "", words: "no figure to hold it against" };
  const beyond = found.filter(([fits]) => !fits);
  return { sign: beyond.length ? "beyond" : "within", words: (beyond.length ? beyond : found).map(([, words]) => words).join("; ") };
}
