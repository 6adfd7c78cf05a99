// One pin a screen: where, how, the figure that decides, the pad, and what to do when it fails.

const DO = {
  key: (card) => `Key to ${card.key}`,
  plug: (card) => (card.plug === "out" ? `Unplug ${page.module}` : `Plug ${page.module} in`),
  lamp: (card) => (card.lamp_w === null ? "Lamp off" : `Lamp ${number(card.lamp_w, 0)} W`),
  out: (card) => (card.out.length ? `Out: ${card.out.join(", ")}` : "All fuses and eyelets back"),
  leads: (card) => (card.leads.length ? card.leads_words : "Leads out of the plug"),
  asleep: (card) => (card.asleep ? "All asleep, key out" : "Awake"),
  hand: (card) => card.hand_words || "As it was, nothing by hand",
  other: () => "Other lead to battery −",
};

/** What a card asks for and what does not hold yet. */
function wanted(card) {
  const { on } = state;
  const found = [];
  if (card.key && on.key !== card.key) found.push(["key", { key: card.key }]);
  if (card.plug && on.plug !== card.plug) found.push(["plug", { plug: card.plug }]);
  if (on.lamp !== card.lamp_w) found.push(["lamp", { lamp: card.lamp_w }]);
  if (on.out.join() !== card.out.join()) found.push(["out", { out: card.out }]);
  if (on.leads.join() !== card.leads.join()) found.push(["leads", { leads: card.leads }]);
  if (Boolean(card.asleep) !== on.asleep) found.push(["asleep", { asleep: Boolean(card.asleep) }]);
  if ((card.hand || "") !== on.hand) found.push(["hand", { hand: card.hand || "" }]);
  if ((card.kind === "least" || card.kind === "dead" || (card.kind === "beside" && card.fields[0] === "volts")) && on.other !== "-") found.push(["other", { other: "-" }]);
  return found;
}

function cardView() {
  const shown = state.split ? splitCard() : state.asked ? askedCard(state.asked) : page.cards[state.card];
  const kept = standing().filter((one) => one.card === signature(shown));
  const parent = page.cards[state.card];
  const first = shown.figure ? askedFirst(shown) : null;
  const reads = shown.figure && !first; // whoever reads is there already: the way in stands below the keys, which are to be seen without moving the page
  return [
    h("div", { class: "card-head" },
      h("h2", { class: "code" }, shown.name, shown.wire ? h("span", { class: "wire" }, shown.wire) : null),
      h("p", { class: "where-in" }, h("span", null, `${shown.step} ${shown.title}`), h("span", null, state.asked ? "" : `${state.card + 1} of ${page.cards.length}`))),
    shown.kind === "base" || (shown.items && !shown.panel) ? null : h("p", { class: "place" }, shown.place, shown.access && !reads ? h("span", { class: "access" }, shown.access) : null),
    shown.way ? h("p", { class: "way" }, shown.way) : null,
    body(shown, kept, parent, first),
    reads && shown.access ? h("p", { class: "place" }, shown.place, h("span", { class: "access" }, shown.access)) : null,
    h("div", { class: "turn" },
      state.asked ? button("Back to the case", () => go("case")) : state.split ? button("Back to the pin", () => go("card", { split: "" })) : button("Before", () => turn(-1), { disabled: state.card === 0 }),
      state.split || state.asked ? null : button("Next", () => turn(1), { disabled: state.card === page.cards.length - 1 })),
  ];
}

/** A point on the way of a failed pin, read with the same lamp. */
function splitCard() {
  const parent = page.cards[state.card];
  const point = page.points[state.split];
  return {
    ...parent, kind: "point", title: `on the way of ${parent.name}`, name: state.split, full: state.split, level: point.level, wire: "", way: point.kind, place: point.place, access: point.access,
    splits: [], figure: { words: "live as at the battery: the fault lies behind it; moved far: before it", moved_v: null, lost_v: null },
  };
}

/** What the case asks and no card of the sheet does: another key state, something else unplugged, something done by hand, another place. */
function askedCard(asks) {
  const parent = page.cards[state.card];
  const point = page.points[asks.short];
  const own = parent.full === asks.name ? parent : { step: "", name: asks.short, full: asks.name, level: asks.level, wire: "", way: "", place: asks.place, access: point ? point.access : "" };
  const fields = asks.unit === "ohm" ? ["ohms"] : asks.lamp_w === null ? ["volts"] : ["without lamp", `lamp ${number(asks.lamp_w, 0)} W`];
  return { ...own, ...asks, name: own.name, kind: "asked", title: "what the case asks", fields, splits: [], leads_words: asks.leads.length ? `Fused lead in the plug: ${asks.leads.join(", ")}` : "", figure: { words: asks.words } };
}

function turn(by) {
  go("card", { card: Math.min(page.cards.length - 1, Math.max(0, state.card + by)), split: "" });
}

/** What a card wants before its pad; nothing where a value can be typed at once. */
function askedFirst(card) {
  if (state.open === "reason") return reasons(card);
  const todo = wanted(card);
  if (todo.length) return todoList(todo, card);
  const old = card.fields[0] === "seconds" ? "" : batteryIsOld(state.on); // seconds say the same at any battery
  if (old) return batteryPad(old);
  return state.on.symptom ? null : symptomPart();
}

function body(card, kept, parent, first) {
  if (card.kind === "look") return lookBody(card);
  if (card.kind === "base") return baseBody(card);
  if (card.kind === "hazard") return h("p", { class: "heavy caution" }, card.says);
  const safe = [
    card.safe ? h("p", { class: "safe" }, card.safe) : null,
    card.leads_words && !card.way.includes(card.leads_words) ? h("p", { class: "safe" }, card.leads_words) : null,
  ];
  const figure = h("p", { class: "figure" }, card.figure.words, card.figure.beside ? h("small", null, card.figure.beside) : null);
  const before = [kept.map((one) => keptLine(card, one)), fromOthers(card)];
  if (first) return [safe, first, figure, before];
  const wrong = kept.find((one) => one.id === state.open);
  const beyond = ["point", "asked", "beside"].includes(card.kind) ? 0 : kept.filter((one) => one.judged === "beyond").length;
  const keys = pad({
    labels: fieldLabels(card), words: card.wiggles ? [...WORDS, ["flickers", "flickers"]] : WORDS_OF[card.fields[0]] || WORDS, since: card.fields[0] === "seconds" ? state.on.turnedAt : null, lit: card.fields.length === 2, mustAsk: card.asks_lit, draft: `draft/${signature(card)}`, values: wrong ? wrong.values : null,
    keepWords: wrong ? "Mend" : "Keep", done: (values, lit) => done(card, values, wrong, lit), reach: () => { state.open = "reason"; show(); },
  });
  const contact = card.kind === "alone" ? contactPart(card) : null;
  if (beyond > 1) return [safe, figure, before, onFailure(parent), keys, contact]; // where to go on comes before a third reading
  return [
    safe, figure, kept.length ? lastLine(kept[kept.length - 1], beyond) : null, keys, before,
    beyond ? h("p", { class: "heavy" }, h("strong", null, "Beyond the figure: "), page.words.bad_twice, ".") : null,
    beyond ? onFailure(parent) : null,
    contact,
  ];
}

const WORDS_OF = { ohms: [["open", "OL"]], seconds: [] };

function fieldLabels(card) {
  const lead = state.on.other === "+" ? "to battery +" : "to battery −";
  return card.fields.map((field) => (field === "ohms" ? "Ω" : field === "seconds" ? "s after the key" : field === "volts" ? `V ${lead}` : `${field}, V`));
}

function done(card, values, wrong, lit) {
  const { sign, words } = judged(card, values);
  keepReading(card, values, { lit, ...(wrong ? { insteadOf: wrong.id } : {}) });
  if (state.asked) go("case");
  else if (sign === "beyond" || state.split || state.card === page.cards.length - 1) go("card");
  else turn(1);
  say(`${card.name} kept: ${shownValues(values)}. ${words}${sign ? " (a hint: tracer proof judges)" : ""}`);
}

const saidBy = (one) => (one.values.length ? shownValues(one.values) : one.said.split("=").pop().replace("-", " "));

/** Above the keys, in one line: that something is kept already, and whether it is to be read again. */
function lastLine(one, beyond) {
  return h("p", { class: "last" }, `kept: ${saidBy(one)}`, beyond ? h("strong", null, " beyond the figure, once more") : null);
}

function keptLine(card, one) {
  const { sign, words } = one.values.length ? judgedAgain(card, one) : { sign: "", words: "" };
  return h("p", { class: `kept ${sign}` },
    h("span", { class: "sign", "aria-hidden": "true" }, sign === "within" ? "✓" : sign === "beyond" ? "✕" : "•"),
    h("span", null, `${saidBy(one)}${one.why ? `: ${one.why}` : ""}`, words ? h("small", null, `${words}${sign ? " (a hint)" : ""}`) : null),
    one.values.length ? button("mistyped", () => { state.open = one.id; show(); window.scrollTo(0, 0); }, { class: "small", "aria-label": `${shownValues(one.values).replaceAll(" / ", "/")} was mistyped` }) : null);
}

/** What the case has of a pin beside what was read here. */
function fromOthers(card) {
  if (!LIVE || !theCase) return null;
  const own = new Set(records().map((one) => one.id));
  return theCase.readings.filter((one) => one.name === card.full && !own.has(one.handed)).map((one) => h("p", { class: "kept" }, h("span", { class: "sign", "aria-hidden": "true" }, "•"), h("span", null, `in the case: ${one.words}`, h("small", null, one.on))));
}

/** The hint under the conditions of the reading, not those of now. */
function judgedAgain(card, one) {
  const now = state.on;
  const of = Object.fromEntries(one.on.map((word) => word.split("=")));
  state.on = { ...now, battery: of.battery || "", other: of.other || "-" };
  const found = judged(card, one.values);
  state.on = now;
  return found;
}

/** How tight the contact of the pin sits, felt while it is unplugged. */
function contactPart(card) {
  const noted = standing().filter((one) => one.said.startsWith(`fit ${card.full}=`)).map((one) => one.said.split("=").pop());
  const last = noted[noted.length - 1];
  return h("div", { class: "contact" }, h("p", { class: "place" }, "The contact sits"), h("div", { class: "choices tight" }, page.fits.map((fit) => button(fit, () => { keepNote(`fit ${card.full}=${fit}`, { name: card.name }); show(); say(`${card.name}: the contact is ${fit}.`); }, { class: "choice", "aria-pressed": fit === last ? "true" : "false" }))));
}

/** Where to go on when a pin fails: the same lamp on its way, half way first. */
function onFailure(card) {
  if (!card.splits || !card.splits.length) return null;
  const place = (split) => page.points[split.points[0]].place;
  return h("section", null,
    h("h3", null, "When it fails: the same lamp on the way, half way first"),
    card.splits.map((split) => h("div", { class: "splits" },
      h("span", null, h("strong", null, split.word), h("small", null, place(split))),
      h("div", null, split.points.map((name) => button(name === split.word ? "read it" : name.slice(split.word.length).replace(/^[.:]/, "") || name, () => go("card", { split: name }), { "aria-label": `read ${name}` }))))));
}

function todoList(todo, card) {
  return h("div", { class: "todo" },
    h("h3", null, "First"),
    h("ul", null, todo.map(([name]) => h("li", null, DO[name](card)))),
    button(todo.length > 1 ? "All done" : "Done", () => { setCondition(Object.assign({}, ...todo.map(([, change]) => change))); show(); }, { class: "main" }));
}

function batteryPad(why) {
  const base = page.cards.find((card) => card.kind === "base");
  return h("div", { class: "todo" },
    h("h3", null, "Battery posts, now"),
    h("p", null, why, " ", base ? `${base.battery.join("; ")}.` : ""),
    pad({ labels: ["battery, V"], draft: "draft/battery", done: ([value]) => {
      const read = typed(value);
      if (read < 0 || read > 60) { say(`${value} V is no battery voltage.`); return; }
      setCondition({ battery: value.replace(",", "."), batteryAt: Date.now() });
      say(`Battery ${value} V kept.`);
      show();
    } }));
}

/** A reading without the fault there may be of a wire that is whole at this moment: so it is asked for before the first one. */
function symptomPart() {
  const set = (symptom) => () => { setCondition({ symptom }); show(); };
  return h("div", { class: "todo" }, h("h3", null, "Is the fault there now?"), h("div", { class: "choices" }, button("It is there", set("yes"), { class: "choice" }), button("It is not", set("no"), { class: "choice" })));
}

function reasons(card) {
  const field = h("input", { id: "reason", class: "text", maxlength: "120", autocomplete: "off" });
  const done = (status, why) => {
    const said = `${card.full}=${status}`;
    keep({ on: conditionWords(state.on), under: conditionsShown(), age: null, said, why, card: signature(card), name: card.name, full: card.full, values: [], judged: "" });
    if (state.split) go("card");
    else turn(1);
    say(`${card.name}: ${status.replace("-", " ")}, ${why}`);
  };
  return h("div", { class: "todo" },
    h("h3", null, "Not reached. Why?"),
    h("div", { class: "choices" }, ["behind trim", "sealed", "no room for a probe"].map((why) => button(why, () => done("not-reached", why), { class: "choice" })), button("not fitted here", () => done("not-fitted", "not fitted on this vehicle"), { class: "choice" })),
    h("label", { for: "reason" }, "or in your words"), field,
    button("Keep", () => { if (field.value.trim()) done("not-reached", single(field.value).replaceAll("#", "")); else field.focus(); }, { class: "main" }),
    button("Back", () => { state.open = ""; show(); }));
}

function lookBody(card) {
  const seen = new Map(standing().filter((one) => one.said.startsWith("look ")).map((one) => one.said.slice(5).split("=")));
  const left = card.items.filter((item) => !seen.has(item.part));
  return [
    h("p", { class: "safe" }, card.safe),
    h("ul", { class: "looks" }, card.items.map((item) => h("li", null,
      h("strong", null, item.label), h("span", null, item.belongs),
      seen.has(item.part) ? h("span", { class: "seen" }, seen.get(item.part) === "ok" ? "✓ as it should be" : `✕ ${seen.get(item.part)}`)
        : [button("✓", () => { keepNote(`look ${item.part}=ok`); say(`${item.label} as it should be`); show(); }, { class: "small", "aria-label": `${item.label} as it should be` }),
          card.panel ? button("other", () => go("panels", { panel: card.panel, chosen: item.part }), { class: "small", "aria-label": `${item.label} is not as it should be` }) : null],
      card.panel ? null : h("small", null, item.place, item.access ? h("span", { class: "access" }, item.access) : null)))),
    left.length > 1 ? button(`All ${left.length} as they should be`, () => { left.forEach((item) => keepNote(`look ${item.part}=ok`)); turn(1); }, { class: "main" }) : null,
    card.panel ? button("The panel as it sits", () => go("panels", { panel: card.panel })) : null,
  ];
}

/** What must work before some pins are live: whether it does. */
function worksLine({ part, words }) {
  const last = standing().filter((one) => one.said.startsWith(`works ${part}=`)).map((one) => one.said.split("=").pop()).pop();
  const key = (said, face) => button(face, () => { keepNote(`works ${part}=${said}`); say(`${part}: ${said === "yes" ? "works" : "does not work"}`); show(); }, { class: "small", "aria-pressed": last === said ? "true" : "false", "aria-label": `${part} ${said === "yes" ? "works" : "does not work"}` });
  return h("li", null, h("span", null, words), key("yes", "✓"), key("no", "✕"));
}

function baseBody(card) {
  const old = batteryIsOld(state.on);
  const ticked = (name) => standing().some((one) => one.said.startsWith(`tick ${name}`));
  const tick = (words, name, how) => button(words, () => { if (!ticked(name)) keepNote(`tick ${name}=${how}`); show(); }, { class: "choice", "aria-pressed": ticked(name) ? "true" : "false" });
  return [
    h("p", { class: "safe" }, card.safe),
    h("div", { class: "choices" },
      button("The fault is there now", () => { setCondition({ symptom: "yes" }); show(); }, { class: "choice", "aria-pressed": state.on.symptom === "yes" ? "true" : "false" }),
      button("The fault is not there", () => { setCondition({ symptom: "no" }); show(); }, { class: "choice", "aria-pressed": state.on.symptom === "no" ? "true" : "false" }),
      tick("The lamp lights at the battery", "lamp", "at-battery"), tick("The meter's leads together read 0 Ω", "meter", "leads-together")),
    card.first.length ? [h("h3", null, `Must work first, key ${page.picture ? page.cards.find((one) => one.kind === "drop")?.key || page.keys[0] : page.keys[0]}`), h("ul", { class: "works" }, card.first.map(worksLine))] : null,
    old ? batteryPad(old) : h("p", { class: "kept within" }, h("span", { class: "sign", "aria-hidden": "true" }, "✓"), h("span", null, `battery ${number(Number(state.on.battery))} V`)),
  ];
}
