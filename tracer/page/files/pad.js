// The number pad: large keys for a greasy thumb, real fields for a keyboard and a screen reader.

const WORDS = [["dead", "dead"], ["dim", "dim"], ["open", "OL"]];

/**
 * Fields with a pad below them.
 *
 * `labels` of the fields, `words` what may stand in a field beside numbers, `since` when the key was turned (0: not yet) where seconds are counted, `done(values)` what becomes of them, `keepWords` what the large button says,
 * `lit` asks whether the lamp is seen to be lit, `mustAsk` before the values are kept, where they do not show it; `draft` under which name what is typed so far is kept.
 */
function pad({ labels, words = [], since = null, done, keepWords, draft, values, reach, lit, mustAsk }) {
  const kept = (values || (draft && store.get(draft)) || []).map((text) => text.replace(/^gt/, ""));
  const fields = labels.map((label, n) => h("input", {
    class: "field", id: `field-${n}`, inputmode: "none", autocomplete: "off", autocapitalize: "off", spellcheck: "false", enterkeyhint: "done", maxlength: "9", value: kept[n] || "",
    input: typing, focus: () => { active = n; }, keydown: (event) => { if (event.key === "Enter") { event.preventDefault(); finish(); } },
  }));
  let isLit = false;
  let isMore = Boolean(values && values[0].startsWith("gt")); // more than what is typed: still live after so many seconds
  let asked = !mustAsk;
  let active = fields.length > 1 && fields[1].value ? 1 : 0; // where typing was left off
  const wrong = h("p", { class: "wrong", role: "alert" });

  function typing() {
    if (draft) store.put(draft, fields.map((field) => field.value));
    wrong.textContent = "";
    enter.textContent = following() < 0 ? keepWords || "Keep" : "lamp ▸";
    fields.forEach((field, n) => field.classList.toggle("active", n === active));
  }

  /** The next field that still wants a value; a word in the first one needs no second. */
  function following() {
    return active === 0 && fields.length > 1 && !fields[1].value && !/[A-Za-z]/.test(fields[0].value) ? 1 : -1;
  }

  function put(change) {
    fields[active].value = change(fields[active].value).slice(0, 9);
    typing();
  }

  function finish() {
    const next = following();
    if (next > 0 && fields[0].value) {
      active = next;
      fields[next].focus();
      typing();
      return;
    }
    const typedIn = fields.map((field) => field.value.trim());
    const isWord = (text) => words.some(([, word]) => word.toLowerCase() === text.toLowerCase());
    const used = isWord(typedIn[0]) && !typedIn[1] ? typedIn.slice(0, 1) : typedIn;
    const bad = used.findIndex((text) => !isWord(text) && Number.isNaN(typed(text)));
    if (bad >= 0) {
      active = bad;
      fields[bad].focus();
      typing();
      wrong.textContent = used[bad] ? `“${used[bad]}” is no number.` : `${labels[bad]}: nothing typed yet.`;
      return;
    }
    if (!asked && !isLit && used.length > 1) {
      asked = true;
      litKey.focus();
      wrong.textContent = "Is the lamp lit? Tap it if you see it; kept without, the reading does not count.";
      return;
    }
    if (draft) store.put(draft, []);
    done(isMore ? used.map((text) => `gt${text}`) : used, isLit && used.length > 1);
  }

  const timeKeys = since === null ? null : [
    button("gone now", () => put(() => String(Math.max(0, Math.round((Date.now() - since) / 1000)))), { class: "key word", disabled: !since }),
    button("still live then", (event) => { isMore = !isMore; event.currentTarget.setAttribute("aria-pressed", String(isMore)); }, { class: "key word", "aria-pressed": String(isMore) }),
  ];
  const litKey = lit ? button("the lamp is lit", () => { isLit = !isLit; litKey.setAttribute("aria-pressed", String(isLit)); }, { class: "key word", "aria-pressed": "false", pointerdown: (event) => event.preventDefault() }) : null;
  const key = (face, change, more) => h("button", { type: "button", class: "key", pointerdown: (event) => event.preventDefault(), click: () => put(change), ...more }, face);
  const digit = (face) => key(face, (text) => (/[A-Za-z]/.test(text) ? face : text + face));
  const mark = page.decimal;
  const enter = h("button", { type: "button", class: "key enter", pointerdown: (event) => event.preventDefault(), click: finish });
  const keys = [
    digit("7"), digit("8"), digit("9"), key("⌫", (text) => (/[A-Za-z]/.test(text) ? "" : text.slice(0, -1)), { "aria-label": "delete" }),
    digit("4"), digit("5"), digit("6"), key("−", (text) => (text.startsWith("-") ? text.slice(1) : `-${text}`), { "aria-label": "minus" }),
    digit("1"), digit("2"), digit("3"), enter,
    key("0", (text) => (/[A-Za-z]/.test(text) ? "0" : text + "0"), { class: "key wide" }), key(mark, (text) => (/[.,]/.test(text) ? text : text + mark), { "aria-label": mark === "," ? "comma" : "point" }),
  ];
  typing();
  return h("div", { class: "pad" },
    h("div", { class: `fields fields-${fields.length}` }, fields.map((field, n) => h("div", null, h("label", { for: field.id }, labels[n]), field))),
    wrong,
    h("div", { class: "keys" }, keys),
    words.length || reach || timeKeys ? h("div", { class: "words" },
      words.map(([face, word]) => key(face, () => word, { class: "key word" })), timeKeys,
      reach ? button("not reached", reach, { class: "key word" }) : null,
      litKey) : null);
}
