// The diagram as on paper, which answers a tap: the whole way of what was tapped, levels by key state, what dies with a part.

const SVG = "http://www.w3.org/2000/svg";
let drawn = { of: null, sheets: [] }; // parsed once for each picture

function sheets() {
  if (drawn.of !== page.picture) {
    drawn = { of: page.picture, sheets: page.picture.pages.map((one) => document.importNode(new DOMParser().parseFromString(one.svg, "image/svg+xml").documentElement, true)) };
    drawn.sheets.forEach((svg, n) => prepare(svg, page.picture.pages[n]));
  }
  return drawn.sheets;
}

/** What a symbol is drawn of, in the order of the plan's letters. */
const shapesOf = (group) => [...group.children].filter((child) => child.tagName !== "title");

// On paper all of it stands, whatever part of it the screen shows.
window.matchMedia("print").addEventListener("change", ({ matches }) => drawn.sheets.forEach((svg) => svg.setAttribute("viewBox", (matches ? svg.whole : svg.view || svg.whole).join(" "))));

/** Keep what the paper shows, and put a layer for what is tapped in front of it. */
function prepare(svg, of) {
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  svg.setAttribute("aria-label", `Circuits of ${page.module}; the ways of each pin stand below as text`);
  const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
  svg.whole = [0, 0, width, height];
  svg.groups = new Map([...svg.querySelectorAll("g[id]")].map((group) => [group.id, group]));
  svg.nodesOf = new Map(Object.entries(of.nodes));
  for (const group of svg.groups.values()) {
    shapesOf(group).forEach((shape) => { shape.plain = [shape.getAttribute("stroke-width"), shape.getAttribute("stroke-dasharray")]; });
  }
  svg.over = svg.appendChild(document.createElementNS(SVG, "g"));
  svg.over.setAttribute("class", "over");
  svg.layer = of;
}

function diagramView() {
  const { picture } = page;
  if (!picture) return [h("h2", null, "Diagram"), h("p", null, "It is being drawn.")];
  const all = sheets();
  all.forEach(paint);
  return [
    h("h2", { class: "plain" }, "Diagram"),
    state.failed ? null : h("div", { class: state.key ? "tools" : "tools tap", role: "group", "aria-label": "Key state" }, h("span", null, "key"), ["", ...Object.keys(picture.levels)].map((key) => button(key || "none", () => { state.key = key; show(); }, { "aria-pressed": state.key === key ? "true" : "false" }))),
    h("div", { class: "tools tap", role: "group", "aria-label": "What a tap does" }, h("span", null, "tap"), button("shows the way", () => { state.failed = false; state.chosen = null; show(); }, { "aria-pressed": state.failed ? "false" : "true" }), button("fails the part", () => { state.failed = true; state.chosen = null; show(); }, { "aria-pressed": state.failed ? "true" : "false" })),
    state.key && !state.failed ? legend(picture) : null,
    h("div", { class: state.chosen ? "told" : "told hint", role: "status" }, told()),
    all.map((svg, n) => sheetFrame(svg, n, all.length)),
    wayList(),
  ];
}

function legend({ strokes }) {
  const sample = (letter, words) => {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 0 34 8");
    svg.setAttribute("aria-hidden", "true");
    const path = svg.appendChild(document.createElementNS(SVG, "path"));
    path.setAttribute("d", "M1 4H33");
    stroke(path, strokes[letter]);
    return h("span", { class: "sample" }, svg, words);
  };
  return h("p", { class: "legend" }, Object.entries(strokes).filter(([, one]) => one.words).map(([letter, one]) => sample(letter, one.words)));
}

function stroke(shape, { width, dash }) {
  shape.setAttribute("stroke-width", width);
  if (dash) shape.setAttribute("stroke-dasharray", dash);
  else shape.removeAttribute("stroke-dasharray");
}

/** Levels, the way of what is tapped, what dies, and readings at their points. */
function paint(svg) {
  const { picture } = page;
  const levels = (!state.failed && picture.levels[state.key]) || {}; // with a part failed they would be others
  svg.classList.toggle("keyed", Boolean(state.key) && !state.failed);
  for (const [id, group] of svg.groups) {
    const letters = levels[id] || "";
    shapesOf(group).forEach((shape, n) => {
      const letter = letters[n];
      if (letter && letter !== ".") stroke(shape, picture.strokes[letter]);
      else if (shape.plain[0] !== null) stroke(shape, { width: shape.plain[0], dash: shape.plain[1] });
    });
  }
  const lit = litNodes();
  svg.classList.toggle("dimmed", lit !== null && !state.failed);
  svg.over.replaceChildren();
  for (const [id, nodes] of svg.nodesOf) svg.groups.get(id).classList.toggle("lit", lit !== null && nodes.every((node) => lit.has(node)));
  if (lit && !state.failed) {
    for (const way of svg.layer.ways) {
      if (!way.nodes.every((node) => lit.has(node))) continue;
      const path = svg.over.appendChild(document.createElementNS(SVG, "path"));
      path.setAttribute("d", way.d);
      path.setAttribute("class", "way-line");
    }
  }
  if (state.failed && state.chosen) crosses(svg);
  svg.pending = true; // sizes are known once it stands in the page
}

function crosses(svg) {
  const dies = withoutOf(state.chosen);
  const own = new Set(page.picture.parts[state.chosen] || []);
  const dead = new Set(dies ? dies.pins.map((one) => one.node) : []);
  svg.marks = [];
  for (const [id, nodes] of svg.nodesOf) {
    const group = svg.groups.get(id);
    if (nodes.every((node) => own.has(node))) svg.marks.push([group, "failed"]);
    else if (nodes.length === 1 && dead.has(nodes[0])) svg.marks.push([group, "dead"]);
  }
}

/** What needs sizes: crosses, and readings beside their points. */
function finishPaint(svg) {
  const put = (tag, attributes, text) => {
    const made = svg.over.appendChild(document.createElementNS(SVG, tag));
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    if (text) made.textContent = text;
    return made;
  };
  for (const [group, kind] of (state.failed && svg.marks) || []) {
    const box = group.getBBox();
    if (kind === "failed") put("rect", { x: box.x - 2, y: box.y - 1, width: box.width + 4, height: box.height + 2, class: "failed-part" });
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    if (kind === "dead") put("path", { d: `M${x - 6} ${y - 6}L${x + 6} ${y + 6}M${x + 6} ${y - 6}L${x - 6} ${y + 6}`, class: "cross" });
  }
  const byName = new Map();
  for (const one of allReadings()) byName.set(one.full.replace(/:[+-]$/, ""), one);
  const taken = byName.size ? [...svg.querySelectorAll("text:not(.read-at)")].map((text) => text.getBBox()) : []; // what is to be read beside a reading
  const numbers = new Map(Object.entries(page.picture.names).map(([node, name]) => [name, Number(node)]));
  for (const [name, one] of byName) {
    const node = numbers.get(name);
    const found = [...svg.nodesOf].find(([, nodes]) => nodes.includes(node));
    if (node === undefined || !found) continue;
    const box = svg.groups.get(found[0]).getBBox();
    const text = put("text", { class: "read-at", "text-anchor": "middle", "font-size": 7 }, one.words);
    const own = text.getBBox(); // about where it was put: at 0, 0
    const [wide, high] = [own.width + 3, own.height + 1];
    const [middle, beside] = [box.x + (box.width - wide) / 2, box.y + (box.height - high) / 2];
    const places = [[middle, box.y + box.height], [box.x + box.width + 1.5, beside], [box.x - wide - 1.5, beside], [middle, box.y - high]];
    const [x, y] = places.find(([left, top]) => !taken.some((it) => left < it.x + it.width + 1 && it.x < left + wide + 1 && top < it.y + it.height && it.y < top + high)) || places[0];
    taken.push({ x, y, width: wide, height: high });
    svg.over.insertBefore(put("rect", { x, y, width: wide, height: high, class: "read-frame" }), text);
    text.setAttribute("x", x + wide / 2);
    text.setAttribute("y", y + 0.5 - own.y);
  }
  svg.pending = false;
}

/** The readings of this page, and of the case at the desk, last one of each point. */
function allReadings() {
  const own = standing().filter((one) => one.values.length).map((one) => ({ full: one.full, words: one.values.join("/") }));
  return [...(LIVE && theCase ? theCase.readings.map((one) => ({ full: one.name, words: one.values.map((value) => value.text).join("/") })) : []), ...own];
}

/** The rows whose way runs over what was tapped: of a pin its own. */
function rowsOf(chosen) {
  if (!chosen) return [];
  const rows = Object.entries(page.picture.rows);
  if (chosen.row) return rows.filter(([full]) => full === chosen.row);
  const name = chosen.nodes.length === 1 ? page.picture.names[chosen.nodes[0]] : "";
  const own = rows.filter(([full]) => full.replace(/:[+-]$/, "") === name);
  return own.length ? own : rows.filter(([, row]) => chosen.nodes.every((node) => row.nodes.includes(node)));
}

function litNodes() {
  if (state.failed || !state.chosen || !state.chosen.nodes) return null;
  const rows = rowsOf(state.chosen);
  return rows.length ? new Set(rows.flatMap(([, row]) => row.nodes)) : null;
}

const shortName = (full) => { const pin = page.pins.find((one) => one.full === full); return pin ? pin.name : full.replace(/:([+-])$/, "$1"); };

function told() {
  if (state.failed) {
    const dies = state.chosen && withoutOf(state.chosen);
    if (!state.chosen) return "Tap a fuse, relay, connector, splice or ground: what dies without it.";
    if (!dies) return page.without ? `${state.chosen}: what dies without it says tracer affects ${state.chosen}.` : "What dies without it is being worked out.";
    return [h("strong", null, dies.title, ". "), dies.verdict];
  }
  const rows = rowsOf(state.chosen);
  if (!state.chosen || !state.chosen.nodes) return "Tap a pin, fuse, splice or ground: its whole way stands out.";
  if (!rows.length) return `${state.chosen.title}: on no way of ${page.module}.`;
  return [h("strong", null, state.chosen.title), " on the way of ", rows.map(([full]) => button(shortName(full), () => { state.chosen = { ...state.chosen, row: full }; show(); }, { class: "small" }))];
}

/** From what was tapped to each node of a way: metres as typed, how many wires that is, and how many of them without a length; the shortest where ways lie side by side. */
function distances(row, from) {
  const found = new Map(from.map((node) => [node, { metres: 0, wires: 0, unknown: 0 }]));
  const open = [...from];
  while (open.length) {
    open.sort((a, b) => found.get(a).metres - found.get(b).metres);
    const node = open.shift();
    const here = found.get(node);
    for (const [a, b, metres, isWire] of row.stretches) {
      if (a !== node && b !== node) continue;
      const other = a === node ? b : a;
      const there = { metres: here.metres + (metres || 0), wires: here.wires + isWire, unknown: here.unknown + (metres === null ? 1 : 0) };
      const known = found.get(other);
      if (known && (known.metres < there.metres - 1e-9 || (known.metres < there.metres + 1e-9 && known.unknown <= there.unknown))) continue;
      found.set(other, there);
      if (!open.includes(other)) open.push(other);
    }
  }
  return found;
}

/** What is not typed is said: a sum without it is the least that it can be. */
function distanceWords(one) {
  if (!one) return "over the body";
  if (!one.wires) return "here";
  if (one.unknown === one.wires) return `${counted(one.wires, "wire")}, no length typed`;
  return one.unknown ? `at least ${number(one.metres, 1)} m, ${one.unknown} of ${counted(one.wires, "wire")} without a length` : `${number(one.metres, 1)} m`;
}

/** The points of the way that stands out, from the pin back, each with how far it is from what was tapped. */
function wayList() {
  if (state.failed) {
    const dies = state.chosen && withoutOf(state.chosen);
    return dies ? h("ul", { class: "points" }, dies.pins.map((one) => h("li", null, one.own ? h("strong", null, one.words) : one.words)), dies.gains.map((one) => h("li", null, one))) : null;
  }
  const rows = rowsOf(state.chosen);
  if (rows.length !== 1) {
    return h("details", null, h("summary", null, "The ways as text"), Object.keys(page.picture.rows).filter((full) => page.pins.some((pin) => pin.full === full)).map((full) => button(shortName(full), () => { state.failed = false; state.chosen = { nodes: page.picture.rows[full].points.slice(0, 1).map((point) => point.node), title: shortName(full), row: full }; show(); }, { class: "small" })));
  }
  const [full, row] = rows[0];
  const away = distances(row, state.chosen.nodes);
  return h("section", null, h("h3", null, `The way of ${shortName(full)}, from the pin back`),
    h("p", { class: "place" }, `Metres of wire from ${state.chosen.title}, by the shortest way`),
    h("ol", { class: "points" }, row.points.map((point) => h("li", null, h("strong", null, point.name), h("span", null, point.kind), point.wire ? h("span", { class: "wire" }, point.wire) : null, h("span", { class: "away" }, distanceWords(away.get(point.node))), h("small", null, point.place)))));
}

function sheetFrame(svg, n, count) {
  const frame = h("div", { class: "sheet", tabindex: "0", role: "group", "aria-label": `Page ${n + 1} of ${count}; arrow keys move, plus and minus zoom, 0 shows all` }, svg);
  const [, , width, height] = svg.whole;
  let view = svg.view || [...svg.whole];
  frame.style.setProperty("--shape", `${width} / ${height}`);
  const widest = () => Math.max(width, height * (frame.clientWidth || 1) / (frame.clientHeight || 1)); // so wide, all of it is seen
  const set = (x, y, w) => {
    const limited = Math.min(widest(), Math.max(width / 12, w));
    const tall = limited * (frame.clientHeight || 1) / (frame.clientWidth || 1);
    view = [Math.min(width - limited * 0.2, Math.max(-limited * 0.8, x)), Math.min(height - tall * 0.2, Math.max(-tall * 0.8, y)), limited, tall];
    svg.view = view;
    svg.setAttribute("viewBox", view.join(" "));
  };
  const at = (event) => {
    const box = frame.getBoundingClientRect();
    return [view[0] + ((event.clientX - box.left) / box.width) * view[2], view[1] + ((event.clientY - box.top) / box.height) * view[3]];
  };
  const zoom = (by, [x, y] = [view[0] + view[2] / 2, view[1] + view[3] / 2]) => {
    const w = Math.min(widest(), Math.max(width / 12, view[2] * by));
    set(x - (x - view[0]) * (w / view[2]), y - (y - view[1]) * (w / view[2]), w);
  };
  const all = () => set((width - widest()) / 2, 0, widest());
  const pointers = new Map();
  let moved = 0;
  frame.addEventListener("pointerdown", (event) => { pointers.set(event.pointerId, event); if (pointers.size === 1) moved = 0; frame.setPointerCapture(event.pointerId); });
  frame.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (!before) return;
    const others = [...pointers.values()].filter((one) => one.pointerId !== event.pointerId);
    const scale = view[2] / frame.clientWidth;
    moved += Math.hypot(event.clientX - before.clientX, event.clientY - before.clientY);
    if (others.length === 1) {
      const apart = (one) => Math.hypot(one.clientX - others[0].clientX, one.clientY - others[0].clientY) || 1;
      zoom(apart(before) / apart(event), at({ clientX: (event.clientX + others[0].clientX) / 2, clientY: (event.clientY + others[0].clientY) / 2 }));
      moved += 20;
    } else if (!others.length && moved > 6) {
      set(view[0] - (event.clientX - before.clientX) * scale, view[1] - (event.clientY - before.clientY) * scale, view[2]);
    }
    pointers.set(event.pointerId, event);
  });
  const up = (event) => {
    pointers.delete(event.pointerId);
    if (event.type === "pointerup" && moved <= 6) tapped(svg, at(event), view[2] / frame.clientWidth);
  };
  frame.addEventListener("pointerup", up);
  frame.addEventListener("pointercancel", up);
  frame.addEventListener("wheel", (event) => { if (event.ctrlKey || event.metaKey) { event.preventDefault(); zoom(event.deltaY > 0 ? 1.15 : 0.87, at(event)); } }, { passive: false });
  frame.addEventListener("keydown", (event) => {
    const step = view[2] / 8;
    const act = { ArrowLeft: () => set(view[0] - step, view[1], view[2]), ArrowRight: () => set(view[0] + step, view[1], view[2]), ArrowUp: () => set(view[0], view[1] - step, view[2]), ArrowDown: () => set(view[0], view[1] + step, view[2]), "+": () => zoom(0.8), "-": () => zoom(1.25), 0: all }[event.key];
    if (act) { event.preventDefault(); act(); }
  });
  requestAnimationFrame(() => { set(view[0], view[1], view[2]); if (svg.pending) finishPaint(svg); });
  return h("div", { class: "frame" }, frame, h("div", { class: "tools zoom" }, button("−", () => zoom(1.25), { "aria-label": "smaller" }), button("all", all), button("+", () => zoom(0.8), { "aria-label": "larger" }), n === 0 ? button("Print", () => window.print()) : null));
}

/** What lies nearest to a tap, within the width of a thumb. */
function tapped(svg, [x, y], scale) {
  let best = null;
  for (const [id, nodes] of svg.nodesOf) {
    const box = svg.groups.get(id).getBBox();
    const away = Math.hypot(Math.max(box.x - x, 0, x - box.x - box.width), Math.max(box.y - y, 0, y - box.y - box.height));
    if (away > 16 * scale || (best && away > best.away) || (best && away === best.away && box.width * box.height >= best.area)) continue;
    best = { away, area: box.width * box.height, nodes, title: svg.groups.get(id).querySelector("title").textContent };
  }
  if (!best) state.chosen = null;
  else if (state.failed) state.chosen = Object.entries(page.picture.parts).find(([part, nodes]) => part !== page.module && best.nodes.every((node) => nodes.includes(node)))?.[0] || null;
  else state.chosen = { nodes: best.nodes, title: best.title };
  const { scrollY } = window;
  show();
  window.scrollTo(0, scrollY);
}
