// The desk: what the case comes to, the list after each save, and readings that go into the case by themselves. In the file for the pocket none of it runs.

let theCase = null;

const live = (() => {
  const unknown = () => ({ list: -1, page: -1, case: -1 });
  let known = unknown();
  let connected = false;
  let sending = false;
  let refused = ""; // why the last text was refused as a whole
  let noCase = "";
  const desk = { list: null };
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));

  async function ask(path) {
    const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(30000) });
    if (!answer.ok) throw new Error(answer.status === 403 ? await answer.text() : "");
    return answer.json();
  }

  async function look() {
    const now = await ask(`/changes?list=${known.list}&page=${known.page}&case=${known.case}`);
    const whole = now.page !== known.page;
    if (now.list !== known.list) desk.list = await ask("/list");
    if (now.case !== known.case) {
      const found = await ask("/case");
      noCase = found.why_not || "";
      theCase = found.proof ? found : null;
      refused = "";
    }
    const other = whole && take(await ask("/page"));
    known = now;
    connected = true;
    refresh(other);
    handOver();
  }

  /** A page that was worked out; whoever stands on a card stays on it. Whether anything but what dies with each part is new. */
  function take(found) {
    if (!found.module) return false;
    const first = !page;
    const other = first || found.version !== page.version; // else it only got what dies with each part
    const before = !first && page.cards[state.card] ? signature(page.cards[state.card]) : "";
    page = found;
    if (first) begin();
    const at = page.cards.findIndex((card) => signature(card) === before);
    if (!first) state.card = at >= 0 ? at : Math.min(state.card, page.cards.length - 1);
    return other;
  }

  async function follow() {
    for (;;) {
      try {
        await look();
      } catch (error) {
        if (connected || error.message) { connected = false; refused = error.message.startsWith("the key") ? error.message : ""; refresh(false); }
        known = unknown(); // a desk that was begun anew counts from one again
        await pause(700);
      }
    }
  }

  async function hand() {
    const unsent = records().filter((one) => !one.sent && !one.refused);
    if (sending || !unsent.length) return;
    sending = true;
    try {
      const answer = await fetch("/readings", { method: "POST", headers: { "content-type": "text/plain; charset=utf-8", "x-tracer": "page" }, body: handedText(unsent), signal: AbortSignal.timeout(20000) });
      const got = answer.ok ? await answer.json() : { taken: false, why: await answer.text() };
      refused = got.taken ? "" : got.why;
      if (got.taken) {
        const whys = new Map(got.refused.map(({ id, why }) => [id, why]));
        const there = new Set([...got.recorded, ...got.there]);
        unsent.forEach((one) => { if (there.has(one.id)) mark(one, { sent: true, case: got.case }); else if (whys.has(one.id)) mark(one, { refused: whys.get(one.id) }); });
        if (whys.size) say(`Refused: ${[...whys.values()][0]}`);
      }
    } catch {
      connected = false;
    }
    sending = false;
    refresh(false);
  }

  function waiting() {
    return records().filter((one) => !one.sent && !one.refused).length;
  }

  function problems() {
    const said = [];
    const left = page ? waiting() : 0;
    if (!connected) said.push(h("p", { class: "heavy" }, h("strong", null, "The desk does not answer. "), left ? `${counted(left, "reading")} kept here, handed over when it does.` : "What you read is kept here until it does.", refused ? ` ${refused}` : ""));
    else if (refused && left) said.push(h("p", { class: "heavy" }, h("strong", null, `${counted(left, "reading")} not handed over. `), refused));
    else if (noCase && left) said.push(h("p", { class: "heavy" }, h("strong", null, "No case. "), noCase));
    if (desk.list && desk.list.problems.length) said.push(h("div", { class: "heavy" }, h("strong", null, "The files cannot be used as they are; what stands below is from before. "), desk.list.problems.map((one) => h("pre", null, one))));
    else if (desk.list && page && desk.list.version !== page.version) said.push(h("p", null, "Saved. The list is new; cards, panels and diagram are those of before and are being worked out."));
    return said;
  }

  function words() {
    const all = records();
    return `From here: ${all.filter((one) => one.sent).length} in the case, ${waiting()} on the way, ${all.filter((one) => one.refused).length} refused.`;
  }

  return { desk, follow, hand, problems, words, get connected() { return connected; }, get noCase() { return noCase; } };
})();

function handOver() {
  if (LIVE && page) live.hand();
}

/** Show what is new without taking away what somebody is typing. */
function refresh(whole) {
  if (!page) { if (live.desk.list) firstLook(); return; }
  const typing = document.activeElement;
  if (!whole && (state.view === "card" || typing?.matches("textarea, select, .text"))) { head(); tabs(); notice(); showKept(); return; }
  const { id } = typing || {};
  const { scrollY } = window;
  const opened = [...document.querySelectorAll("main details")].map((one) => one.open);
  show();
  [...document.querySelectorAll("main details")].forEach((one, n) => { one.open = one.open || Boolean(opened[n]); });
  if (id && byId(id)) byId(id).focus({ preventScroll: true });
  window.scrollTo(0, scrollY);
}

// --- the list after a save ------------------------------------------------------------------------------------------------

/** Before the page is worked out for the first time: the list alone. */
function firstLook() {
  const { list } = live.desk;
  fill(byId("head"), h("h1", null, list.module), h("p", { class: `status${list.complete ? "" : " open"}` }, list.verdict || "The files cannot be used as they are."));
  fill(byId("view"), quickList());
  fill(byId("notice"), live.problems());
}

function quickList() {
  const { list } = live.desk;
  if (list.problems.length) return [];
  return [
    h("p", { class: list.complete ? "verdict" : "verdict heavy" }, list.verdict),
    h("h2", null, "Pins"),
    h("ul", { class: "pins" }, list.pins.map((pin) => h("li", null, h("div", { class: "pin" }, h("span", { class: "pin-name" }, pin.name), h("span", { class: "pin-words" }, h("span", { class: "wire" }, pin.wire, h("span", { class: "live" }, pin.live)), h("span", { class: "way" }, pin.way)), h("span")))),
      list.unknown.map((one) => h("li", null, h("div", { class: "pin" }, h("span", { class: "pin-name" }, one.pin), h("strong", null, one.says), h("span"))))),
    missingPart(list),
    h("p", { class: "legend" }, "Figures, cards, panels and the diagram are being worked out."),
  ];
}

/** What to type in next, page by page. */
function missingPart(list) {
  if (!list.missing.pages.length) return null;
  return h("section", null, h("h3", null, "Type in next"), list.missing.pages.map((one) => h("div", null, h("h4", null, one.sheet === null ? one.file : `Sheet ${one.sheet}${one.title ? `, ${one.title}` : ""}`), h("ul", null, one.loose_ends.map((loose) => h("li", null, h("strong", null, loose.at), ` ${loose.message}. ${loose.code}`))))));
}

// --- the case ---------------------------------------------------------------------------------------------------------------

function caseView() {
  if (!theCase) return [h("h2", null, "Case"), h("p", { class: "heavy" }, live.noCase || "No case is open."), h("p", null, `At this machine: tracer case open ${page.module}`)];
  const { next } = theCase;
  const { parts } = theCase.proof;
  return [
    h("h2", null, "Case ", theCase.case),
    theCase.module !== page.module ? h("p", { class: "heavy" }, h("strong", null, `This case is on ${theCase.module}, the desk on ${page.module}. `), "Readings from here do not fit it.") : null,
    theCase.complaint ? h("p", { class: "place" }, `“${theCase.complaint}”`) : null,
    theCase.damaged.map((one) => h("p", null, "! ", one)),
    next.list_words.map((one) => h("p", { class: "heavy verdict" }, one)),
    h("p", { class: "heavy verdict" }, parts.sentence),
    parts.said.map((one) => h("p", null, one)),
    nextPart(next),
    sections(parts.left),
    h("h3", null, "Rows"),
    h("table", null, h("thead", null, h("tr", null, ["row", "state", "because"].map((one) => h("th", { scope: "col" }, one)))),
      h("tbody", null, parts.rows.map(([row, state, because]) => h("tr", null, h("th", { scope: "row" }, row), h("td", null, `${STATES[state] || ""} ${state}`), h("td", null, because))))),
    h("p", { class: "place" }, parts.unread),
    shares("What explains the readings", next.explained, next.rest_on),
    shares(next.may_still_be_head, next.may_still_be, next.rest_on),
    sections(parts.beside),
    button("Note something", () => go("readings", { noting: true })),
    h("h3", null, `Readings: ${theCase.readings.length}`),
    h("ul", { class: "read-list" }, [...theCase.readings].reverse().map((one) => h("li", null, h("strong", null, one.row), h("span", null, one.words), h("small", null, `${one.id} · ${one.at.slice(11, 16)} · ${one.on}`)))),
  ];
}

/** Where the next measurement is read under just its conditions: a card of the sheet, a point on the way of a pin that failed, or a card of its own. */
function cardFor(next, one) {
  const { asks } = next;
  const asSheet = (card) => card.fields && !asks.hand && card.key === asks.key && card.plug === asks.plug && card.lamp_w === asks.lamp_w && Boolean(card.asleep) === asks.asleep && card.out.join() === asks.out.join() && card.leads.join() === asks.leads.join();
  const own = page.cards.filter((card) => card.fields && card.full === asks.name && ["alone", "leg", "state", "dead", "bus"].includes(card.kind));
  const card = own.find(asSheet);
  if (card) return { card: card.n, split: "" };
  const parent = page.points[one.short] && cardOf(next.of, "alone");
  if (parent && asSheet(parent)) return { card: parent.n, split: one.short };
  return { card: own.length ? own[0].n : state.card, split: "", asked: asks };
}

/** What may be wrong, each with its share and what speaks for and against it. */
function shares(title, all, restOn) {
  if (!all.length) return null;
  return [h("h3", null, title), h("ul", { class: "points" }, all.map((one) => h("li", null, h("strong", null, one.share), h("span", null, one.what), one.because.map((words) => h("small", null, words))))), h("p", { class: "legend" }, restOn)];
}

/** Headings with their lines, as a proof has them. */
function sections(all) {
  return all.map(([title, lines]) => [h("h3", null, title), h("ul", null, lines.map((one) => h("li", null, one)))]);
}

const STATES = { proven: "✓", "in order": "✓", failed: "✕", "not in order": "✕", doubtful: "?", stale: "↺", waived: "–" };

function nextPart(next) {
  const one = next.measurement;
  const elsewhere = theCase.module !== page.module; // whose cards are of another module
  return h("section", { class: "todo" },
    h("h3", null, "Next"),
    h("p", { class: "figure" }, next.sentence),
    next.outweighed.map((words) => h("p", null, "! ", words)),
    next.surprise_words.map((words) => h("p", null, words)),
    one ? [
      one.by_hand.map((words) => h("p", null, `and ${words}`)),
      h("ul", { class: "outcomes" }, one.outcomes.map(({ seen, means }) => h("li", null, `${seen}: ${means}.`))),
    ] : null,
    next.by_hand.length ? h("ul", { class: "outcomes" }, next.by_hand.map(({ do: what, means }) => h("li", null, `or ${what}: ${means}.`))) : null,
    one || next.by_hand.length ? h("p", { class: "safe" }, next.caution) : null,
    one ? [
      elsewhere ? [h("p", null, "At this machine:"), h("pre", null, [...(one.set_before.length ? [`tracer case set ${one.set_before.join(" ")}`] : []), one.typed].join("\n"))]
        : button("Its card", () => go("card", cardFor(next, one)), { class: "main" }),
    ] : null);
}

/** The state of a row in the case, for the list. */
function rowState(full) {
  const row = theCase && theCase.proof.rows.find((one) => one.name === full);
  return row ? row.state : "";
}
