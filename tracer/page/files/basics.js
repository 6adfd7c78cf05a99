// What everything else is made of: the data, elements, numbers, and the state of the page.

const DATA = JSON.parse(document.getElementById("data").textContent);
const LIVE = DATA.live;
let page = DATA.page; // what is shown of the module; of the desk it is fetched

const state = { view: "pins", card: 0, split: "", asked: null, on: null, open: "", panel: "", key: "", failed: false, chosen: null, said: "", away: false, note: "", noting: false };

/** An element. Attributes that are functions listen; children that are text are text, whatever they look like. */
function h(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value === false || value === null || value === undefined) continue;
    if (typeof value === "function") made.addEventListener(name, value);
    else made.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false || child === "") continue;
    made.append(child instanceof Node ? child : String(child));
  }
  return made;
}

const byId = (id) => document.getElementById(id);

function fill(element, ...children) {
  element.replaceChildren(...children.flat(Infinity).filter((one) => one instanceof Node || one));
}

function button(words, act, attributes) {
  return h("button", { type: "button", click: act, ...attributes }, words);
}

/** A number as this page writes it. */
function number(value, digits = 2) {
  const text = value.toFixed(digits);
  return (/^-0[.0]*$/.test(text) ? text.slice(1) : text).replace(".", page.decimal);
}

const volts = (value) => `${number(value)} V`;

/** What was typed, as a number; NaN where it is none. */
function typed(text) {
  return /^-?\d*[.,]?\d+$/.test(text) ? Number(text.replace(",", ".")) : NaN;
}

/** Said once, for those who do not see what changed. */
function say(words) {
  state.said = words;
  byId("said").textContent = words;
}

for (const next of ["pointerdown", "keydown"]) document.addEventListener(next, () => say(""), { capture: true }); // it lies over keys: the next tap wants to see them

function counted(count, one, several) {
  return `${count} ${count === 1 ? one : several || `${one}s`}`;
}

/** What dies without a part; nothing while that is being worked out, or where it is not asked for. */
function withoutOf(part) {
  const dies = page.without && part && Object.hasOwn(page.without.parts, part) ? page.without.parts[part] : undefined; // a part may be called `constructor`
  return dies && { ...dies, pins: dies.pins.map((n) => page.without.pins[n]) };
}

/** The card of a kind and name, or the first one of the name. */
function cardOf(name, kind) {
  return page.cards.find((card) => card.name === name && card.kind === kind) || page.cards.find((card) => card.name === name);
}

function go(view, more) {
  say("");
  Object.assign(state, { open: "", asked: null }, more, { view });
  store.put("card", state.card);
  show();
  byId("view").focus({ preventScroll: true });
  window.scrollTo(0, 0);
  if (view === "panels" && state.chosen) document.querySelector(".cell[aria-expanded=true]")?.scrollIntoView({ block: "center", inline: "center" });
}
