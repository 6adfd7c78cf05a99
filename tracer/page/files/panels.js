// The panel as it sits under the lid: what belongs in each position, what is seen there, what that means.

function panelsView() {
  if (!page.panels.length) return [h("h2", null, "Panels"), h("p", null, "No fuse panel lies on the ways of this module as typed in.")];
  return [
    h("h2", null, "Panels"),
    h("p", { class: "legend" }, h("span", { class: "mine-sample", "aria-hidden": "true" }), " double frame: on a way to ", page.module),
    h("p", { class: "legend tap" }, "Tap a position for what it serves and what dies with it."),
    page.panels.map(panelSection),
  ];
}

function panelSection(panel) {
  const byLabel = new Map(panel.positions.map((one) => [one.label, one]));
  const seen = lookedAt();
  const widest = Math.max(...panel.rows.map((row) => row.length));
  const differ = panel.positions.filter((one) => seen.has(one.part) && meaning(one, seen.get(one.part)).length);
  const looked = panel.positions.filter((one) => seen.has(one.part)).length;
  return h("section", { class: "panel", id: `panel-${panel.panel}` },
    h("h3", null, panel.panel, panel.name ? h("span", { class: "name" }, panel.name) : null),
    h("p", { class: "place" }, panel.place, panel.access ? h("span", { class: "access" }, panel.access) : null),
    panel.loose.map((one) => h("p", null, "! ", one)),
    h("p", { class: "verdict" }, `Looked at ${looked} of ${panel.positions.length}. ${differ.length ? `${counted(differ.length, "position differs", "positions differ")}: ${differ.map((one) => one.label).join(", ")}.` : looked ? "None of them differs." : ""}`),
    lidFrame(panel.rows.map((row) => {
      const chosen = row.map((label) => byLabel.get(label)).find((one) => one && one.part === state.chosen);
      const cells = h("div", { class: "lid-row" }, row.map((label) => (byLabel.has(label) ? cell(byLabel.get(label), panel, seen) : h("span", { class: "gap" }))));
      cells.style.setProperty("--columns", Math.min(widest, 12));
      return [cells, chosen ? detail(chosen, seen) : null];
    })));
}

/** The rows as they sit. Where they are wider than the screen it is said, and the edge that more lies behind is marked. */
function lidFrame(rows) {
  const lid = h("div", { class: "lid" }, rows);
  const frame = h("div", { class: "lid-frame" }, lid);
  const words = h("p", { class: "legend tap", hidden: true }, "The rows go on beyond the hatched edge: swipe sideways.");
  const mark = () => {
    const left = lid.scrollWidth - lid.clientWidth - lid.scrollLeft;
    words.hidden = lid.scrollWidth <= lid.clientWidth + 1;
    frame.classList.toggle("before", lid.scrollLeft > 1);
    frame.classList.toggle("after", left > 1);
  };
  lid.addEventListener("scroll", mark);
  new ResizeObserver(mark).observe(lid);
  return [words, frame];
}

/** What was seen last at each position, from this page and, at the desk, from the case. */
function lookedAt() {
  const found = new Map(LIVE && theCase ? theCase.looks : []);
  for (const one of standing()) if (one.said.startsWith("look ")) found.set(...one.said.slice(5).split("="));
  return found;
}

function meaning(position, word) {
  const known = position.seen.find((one) => one.word === word);
  return known ? known.says : word === "ok" ? [] : [`${word} seen; ${position.belongs} belongs there`];
}

function cell(position, panel, seen) {
  const word = seen.get(position.part);
  const wrong = word !== undefined && meaning(position, word).length > 0;
  return button([
    h("span", { class: "label" }, position.label),
    h("span", { class: position.fuse ? "rating" : "rating kind" }, position.empty ? "empty" : position.rating || (position.fuse ? "?" : "relay")),
    h("span", { class: "colour" }, position.empty ? "" : position.colour),
    word === undefined ? null : h("span", { class: "mark" }, wrong ? `✕ ${word}` : "✓"),
    h("span", { class: "unseen" }, `: ${position.belongs}${position.own ? `, on a way to ${page.module}` : ""}${word === undefined ? "" : wrong ? ", not what belongs there" : ", as it should be"}`),
  ], () => { state.chosen = state.chosen === position.part ? null : position.part; state.panel = panel.panel; show(); const place = document.querySelector(".detail"); if (place) place.scrollIntoView({ block: "nearest" }); }, {
    class: `cell${position.own ? " own" : ""}${position.empty ? " vacant" : ""}${wrong ? " differs" : ""}`, "aria-expanded": position.part === state.chosen ? "true" : "false",
  });
}

function detail(position, seen) {
  const dies = withoutOf(position.part);
  const word = seen.get(position.part);
  return h("div", { class: "detail" },
    h("h4", null, `${position.label}: ${position.belongs}`),
    position.state !== "fitted" ? h("p", null, h("strong", null, position.state)) : null,
    h("p", null, h("strong", null, "Serves "), position.serves),
    position.behind ? h("p", null, h("strong", null, "Behind "), position.behind) : null,
    dies ? h("p", null, h("strong", null, "Without it "), dies.verdict, " ", dies.pins.filter((one) => one.own).map((one) => one.words).join("; ")) : null,
    position.note ? h("p", null, position.note) : null,
    h("p", null, h("strong", null, "What sits there?")),
    h("div", { class: "choices tight" }, position.seen.map((one) => button(one.word === "ok" ? "as it should be" : /^\d/.test(one.word) ? `${one.word} A` : one.word, () => {
      keepNote(`look ${position.part}=${one.word}`);
      say(`${position.label}: ${one.says.length ? one.says[0] : "as it should be"}`);
      show();
    }, { class: "choice", "aria-pressed": one.word === word ? "true" : "false" }))),
    word === undefined ? null : meaning(position, word).length ? meaning(position, word).map((one) => h("p", { class: "heavy" }, one)) : h("p", { class: "kept within" }, h("span", { class: "sign", "aria-hidden": "true" }, "✓"), "as it should be"));
}
