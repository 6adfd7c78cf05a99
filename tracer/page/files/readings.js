// What was read, and how it is handed over.

function readingsView() {
  const all = records();
  const corrected = new Set(all.map((one) => one.insteadOf).filter(Boolean));
  return [
    h("h2", null, "Readings"),
    all.length ? null : h("p", null, LIVE ? "Nothing was read here yet; what others read stands under Case." : "Nothing is read yet."),
    LIVE ? all.length ? h("p", { class: "verdict" }, live.words()) : null : handOverPart(all),
    noteForm(),
    h("ul", { class: "read-list" }, [...all].reverse().map((one) => h("li", { class: corrected.has(one.id) ? "corrected" : "" },
      h("strong", null, one.name === one.said ? one.said.split(" ")[0] : one.name), h("span", null, recordWords(one), one.why ? `: ${one.why}` : ""),
      h("small", null, [iso(one.at).slice(11, 16), one.under].filter(Boolean).join(" · "), corrected.has(one.id) ? " · corrected above" : "", LIVE ? one.refused ? ` · REFUSED: ${one.refused}` : one.sent ? " · in the case" : " · not handed over yet" : "")))),
  ];
}

/** What was read, or noted, in one line. */
function recordWords(one) {
  if (one.values.length) return `${shownValues(one.values)}${one.lit ? ", lit" : ""}`;
  if (one.name === one.said) return one.said.split(" ").slice(1).join(" ").replaceAll("=", ": "); // a note: what and how
  return one.said.replace(/^.*=/, "").replace("-", " ");
}

/** What is noted beside readings, in the words of `tracer case note`: whether they fit says the case. */
function noteForm() {
  const kind = page.notes.find((one) => one.kind === state.note) || page.notes[0];
  const words = h("input", { id: "note-words", class: "text", list: "note-parts", maxlength: "120", autocomplete: "off", autocapitalize: "off", spellcheck: "false", "aria-describedby": "note-what" });
  const why = h("input", { id: "note-why", class: "text", maxlength: "200", autocomplete: "off" });
  const wrong = h("p", { class: "wrong", role: "alert" });
  const done = () => {
    const said = single(words.value.replaceAll(",", " ").replaceAll("#", ""));
    const fits = said && (!kind.example.includes("=") || said.split(" ").every((word) => /.=./.test(word)));
    if (!fits || (kind.reason && !why.value.trim())) {
      wrong.textContent = fits ? `${kind.kind} wants a reason.` : `Write it as in: ${kind.example}`;
      (fits ? why : words).focus();
      return;
    }
    keepNote(`${kind.kind} ${said}`, { why: single(why.value).replaceAll("#", "") });
    show();
    say(`Noted: ${kind.kind} ${said}`);
  };
  return h("details", { open: state.noting, toggle: (event) => { state.noting = event.currentTarget.open; } }, h("summary", null, "Note something: a repair, a contact, what of the gate is seen"),
    h("div", { class: "note-form" },
      h("label", { for: "note-kind" }, "What"),
      h("select", { id: "note-kind", class: "text", change: (event) => { state.note = event.currentTarget.value; state.noting = true; show(); byId("note-kind").focus(); } }, page.notes.map((one) => h("option", { value: one.kind, selected: one === kind }, one.kind))),
      h("p", { id: "note-what", class: "place" }, `${kind.what}. As in: ${kind.example}`),
      h("label", { for: "note-words" }, "Where and what"), words,
      h("label", { for: "note-why" }, kind.reason ? "Why" : "Why (if it wants saying)"), why, wrong,
      button("Keep", done, { class: "main" }),
      h("datalist", { id: "note-parts" }, [...Object.keys(page.picture.parts), ...page.pins.map((pin) => pin.name)].map((name) => h("option", { value: name })))));
}

function handOverPart(all) {
  if (!all.length) return null;
  const text = handedText(all);
  const field = textField(text);
  return h("section", { class: "hand-over" },
    h("p", null, "At the computer: ", h("code", null, "tracer read --from FILE"), ". Handing over twice adds nothing twice."),
    h("div", { class: "choices" },
      button("Save as a file", () => saveFile(text), { class: "main" }),
      navigator.share ? button("Share", () => navigator.share({ text }).catch(() => say("Not shared."))) : null,
      button("Copy", () => copy(field, text))),
    h("label", { for: "handed" }, "The text"), field,
    state.away ? h("div", { class: "heavy" }, h("p", null, "They leave this list; nobody can hand them over from here again."), button("Yes, they are in the case", () => { all.forEach((one) => mark(one, { away: true })); state.away = false; say(`${counted(all.length, "reading")} put away.`); show(); }), button("No, keep them", () => { state.away = false; show(); }))
      : button("Put them away", () => { state.away = true; show(); }));
}

function textField(text) {
  const field = h("textarea", { id: "handed", class: "handed", readonly: true, rows: "8", spellcheck: "false", wrap: "off" });
  field.value = text;
  return field;
}

function saveFile(text) {
  const address = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
  const link = h("a", { href: address, download: `${page.module}-readings.txt` });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
  say("Saved.");
}

async function copy(field, text) {
  try {
    await navigator.clipboard.writeText(text);
  } catch {
    field.focus();
    field.select();
    if (!document.execCommand("copy")) { say("Select the text and copy it."); return; }
  }
  say("Copied.");
}

/** Where the phone keeps nothing, the text stays in view. */
function showKept() {
  const aside = byId("keep");
  if (store.works || (LIVE && live.connected)) { fill(aside); return; }
  const all = records();
  fill(aside, all.length ? [h("h2", null, `${counted(all.length, "reading")}, kept only while this page is open`), textField(handedText(all)), button("Copy", () => copy(aside.querySelector("textarea"), handedText(all))), button("Save as a file", () => saveFile(handedText(all)))] : null);
}
