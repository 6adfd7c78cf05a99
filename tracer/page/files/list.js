// The list: what stands first on every answer, each pin, and every card by its step.

function pinsView() {
  if (LIVE && live.desk.list && live.desk.list.version !== page.version) return quickList();
  const { words } = page;
  const next = nextCard();
  return [
    h("section", { class: page.complete ? "opening" : "opening heavy" },
      h("p", null, words.of), h("p", { class: "place" }, words.plug),
      h("p", { class: "verdict" }, listWords()),
      words.hazards.map((one) => h("p", { class: "caution" }, one)),
      words.marked.map((one) => h("p", null, "! ", one)),
      words.loose_ends.length ? [h("h3", null, words.loose), h("ul", null, words.loose_ends.map(([one]) => h("li", null, one)))] : null),
    next ? button([h("strong", null, state.card || standing().length ? "Go on" : "Begin"), h("span", null, `${next.step} ${next.title}: ${next.name}`)], () => go("card", { card: next.n, split: "" }), { class: "main begin" }) : h("p", { class: "verdict" }, "Every card has a reading."),
    h("h2", { class: "under" }, "Pins"),
    h("ul", { class: "pins" }, page.pins.map(pinLine)),
    h("p", { class: "legend" }, `${page.keys.join(", ")}: ${page.signs}`),
    h("h3", { class: "steps" }, "In the order of the worksheet"),
    steps().map(([title, cards]) => stepSection(title, cards)),
    LIVE && live.desk.list ? missingPart(live.desk.list) : null,
    h("p", { class: "small-print" }, words.safe, " ", words.notes),
  ];
}

/** Whether the list is complete, in the words of the worksheet. */
function listWords() {
  const tested = new Set(standing().filter((one) => one.values.length).map((one) => one.card));
  const decide = page.cards.filter((card) => card.figure && card.figure.decides);
  const here = decide.filter((card) => tested.has(signature(card))).length;
  return `${page.words.status.split("; tested ")[0]}. Read here: ${here} of ${decide.length} that decide.`;
}

function nextCard() {
  const read = new Set(standing().map((one) => one.card));
  const looked = new Set(standing().map((one) => one.said));
  const open = (card) => (card.kind === "look" ? !card.items.every((item) => [...looked].some((said) => said.startsWith(`look ${item.part}=`))) : card.kind === "base" ? Boolean(batteryIsOld(state.on)) && !read.size : card.kind !== "hazard" && !read.has(signature(card)));
  return page.cards.slice(state.card).find(open) || page.cards.find(open);
}

function pinLine(pin) {
  const card = cardOf(pin.name, "alone");
  const inside = [
    h("span", { class: "pin-name" }, pin.name),
    h("span", { class: "pin-words" }, h("span", { class: "wire" }, pin.wire, pin.live ? h("span", { class: "live" }, pin.live) : null), h("span", { class: "way" }, pin.way), pin.says ? h("strong", null, pin.says) : null),
    signOf(pin.full),
  ];
  return h("li", null, card ? button(inside, () => go("card", { card: card.n, split: "" }), { class: "pin" }) : h("div", { class: "pin" }, inside));
}

function signOf(full) {
  const known = LIVE ? rowState(full) : "";
  if (known && known !== "not read") return h("span", { class: "sign", title: known }, STATES[known] || "•");
  const of = standing().filter((one) => full && one.full === full && one.values.length);
  if (!of.length) return h("span", { class: "sign" });
  const beyond = of.some((one) => one.judged === "beyond");
  return h("span", { class: "sign", title: beyond ? "beyond a figure" : "read" }, beyond ? "✕" : "✓");
}

function steps() {
  const found = new Map();
  for (const card of page.cards) {
    const title = `${card.step}  ${card.title}`;
    if (!found.has(title)) found.set(title, []);
    found.get(title).push(card);
  }
  return [...found];
}

function stepSection(title, cards) {
  const read = new Set(standing().map((one) => one.card));
  const done = cards.filter((card) => read.has(signature(card))).length;
  return h("details", null,
    h("summary", null, title, h("span", { class: "count" }, `${done || ""}${done ? " of " : ""}${cards.length}`)),
    h("div", { class: "chips" }, cards.map((card) => button(`${read.has(signature(card)) ? "✓ " : ""}${card.chip || card.name}${card.out && card.out.length ? ` without ${card.out.join(", ")}` : card.kind === "dead" ? ` ${card.key}` : ""}`, () => go("card", { card: card.n, split: "" })))));
}
