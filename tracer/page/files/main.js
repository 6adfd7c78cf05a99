// What stands on every view: the head, the views, what holds now; and the first look.

const VIEWS = { pins: ["Pins", pinsView], card: ["Card", cardView], panels: ["Panels", panelsView], diagram: ["Diagram", diagramView], readings: ["Readings", readingsView], case: ["Case", caseView] };

function show() {
  head();
  tabs();
  notice();
  conditionsBar();
  fill(byId("view"), VIEWS[state.view][1]());
  document.body.dataset.view = state.view;
  showKept();
}

function head() {
  const { words } = page;
  const status = LIVE && live.desk.list && live.desk.list.version !== page.version ? [live.desk.list.complete, live.desk.list.verdict || "The files cannot be used as they are."] : [page.complete, page.complete ? `list ${words.list}` : words.list];
  const dark = document.documentElement.dataset.look === "dark";
  fill(byId("head"),
    h("h1", null, words.title),
    h("p", { class: `status${status[0] ? "" : " open"}` }, status[1]),
    button(dark ? "bright" : "dark", () => { look(dark ? "bright" : "dark"); show(); }, { class: "small look", "aria-label": dark ? "bright page, for sunlight" : "dark page, for a dark bay" }));
}

function look(name) {
  document.documentElement.dataset.look = name;
  store.put("look", name);
}

function tabs() {
  const names = ["pins", "card", "panels", "diagram", "readings", ...(LIVE ? ["case"] : [])];
  const count = records().length;
  fill(byId("tabs"), names.map((name) => button([VIEWS[name][0], name === "readings" && count ? h("span", { class: "count" }, count) : null], () => go(name, { chosen: null, split: name === "card" ? state.split : "" }), { "aria-current": state.view === name ? "page" : null })));
}

function notice() {
  const said = [];
  if (!store.works) said.push(h("p", { class: "heavy" }, h("strong", null, LIVE ? "This browser keeps nothing. " : "This phone keeps nothing for this file. "), "What you read is gone when the page is closed: the text to hand over stays in view at the foot. Copy it before you leave."));
  if (LIVE) said.push(live.problems());
  fill(byId("notice"), said);
}

const CONDITIONS = {
  key: { words: (on) => `key ${on.key}`, choices: () => page.keys.map((key) => [key, { key }]) },
  plug: { words: (on) => (on.plug === "in" ? "plugged in" : "unplugged"), choices: () => [["plugged in", { plug: "in" }], ["unplugged", { plug: "out" }]] },
  lamp: { words: (on) => (on.lamp === null ? "no lamp" : `lamp ${number(on.lamp, 0)} W`), choices: () => [["no lamp", { lamp: null }], ...page.lamps.map((lamp) => [`${number(lamp, 0)} W`, { lamp }])] },
  other: { words: (on) => `lead at ${on.other === "+" ? "+" : "−"}`, choices: () => [["other lead at battery −", { other: "-" }], ["other lead at battery +", { other: "+" }]] },
  symptom: { words: (on) => ({ yes: "fault there", no: "fault not there" }[on.symptom] || "fault ?"), choices: () => [["the fault is there", { symptom: "yes" }], ["it is not there", { symptom: "no" }]] },
  out: { words: (on) => (on.out.length ? `out: ${on.out.join(", ")}` : ""), choices: () => [["all back in", { out: [] }]] },
  leads: { words: (on) => (on.leads.length ? `fused lead ${on.leads.join(", ")}` : ""), choices: () => [["no lead in the plug", { leads: [] }]] },
  hand: { words: (on) => (on.hand ? `by hand: ${on.hand}` : ""), choices: () => [["as it was, nothing by hand", { hand: "" }]] },
  engine: { words: (on) => (on.engine ? "engine on" : "engine off"), choices: () => [["engine off", { engine: false }], ["engine running", { engine: true }]] },
  asleep: { words: (on) => (on.asleep ? "asleep" : ""), choices: () => [["awake", { asleep: false }], ["asleep", { asleep: true }]] },
  battery: { words: (on) => (on.battery ? `${number(Number(on.battery))} V${batteryIsOld(on) ? ", old" : ""}` : "battery ?"), choices: () => [] },
};

/** What holds now, in the words of the bar. */
const conditionsShown = () => Object.values(CONDITIONS).map(({ words }) => words(state.on)).filter(Boolean).join(", ");

function conditionsBar() {
  const { on } = state;
  const bar = byId("conditions");
  const chips = Object.entries(CONDITIONS).map(([name, { words }]) => words(on) && button(words(on), () => { state.open = state.open === `on-${name}` ? "" : `on-${name}`; show(); }, { class: `chip${name === "battery" && batteryIsOld(on) ? " stale" : ""}`, "aria-expanded": state.open === `on-${name}` ? "true" : "false" }));
  const open = Object.keys(CONDITIONS).find((name) => state.open === `on-${name}`);
  fill(bar, h("div", { class: "chips" }, chips), open ? h("div", { class: "choosing" }, open === "battery" ? batteryPad("") : CONDITIONS[open].choices().map(([words, change]) => button(words, () => { setCondition(change); state.open = ""; show(); }, { class: "choice", "aria-pressed": Object.entries(change).every(([name, value]) => JSON.stringify(on[name]) === JSON.stringify(value)) ? "true" : "false" })), button("close", () => { state.open = ""; show(); }, { class: "small" })) : null);
}

let held = null; // what keeps the screen on, or is about to

/** The screen stays on while the page is in view, where the browser lets it. */
async function awake() {
  const before = held;
  const seen = document.visibilityState === "visible" && navigator.wakeLock;
  if (seen && before) return;
  held = seen ? navigator.wakeLock.request("screen") : null;
  try {
    await (seen ? held : (await before)?.release());
  } catch {
    held = null; // refused: the screen goes dark as it always did, and the next tap asks again
  }
}

function begin() {
  store.begin(crc(`${page.vehicle}|${page.module}`));
  const chosen = store.get("look") || (window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "bright");
  document.documentElement.dataset.look = chosen;
  const kept = store.get("conditions");
  state.on = { ...newConditions(), ...kept };
  if (!page.keys.includes(state.on.key)) state.on.key = page.keys[0];
  state.card = Math.min(store.get("card") || 0, page.cards.length - 1);
  document.title = `${page.module}, ${page.vehicle}`;
  show();
  awake();
}

document.addEventListener("visibilitychange", awake);
document.addEventListener("pointerdown", awake);
setInterval(() => { if (page && !state.open && !document.activeElement?.matches("input, textarea")) conditionsBar(); }, 30000);
if (page) begin();
if (LIVE) {
  live.follow();
  setInterval(handOver, 3000);
}
