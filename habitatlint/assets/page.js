// The page of a plan: map, findings and text lead to each other. No library, no network but a watch server's stream.
"use strict";
{
  const one = (query, within = document) => within.querySelector(query);
  const every = (query, within = document) => [...within.querySelectorAll(query)];
  const data = JSON.parse(one("#data").textContent);
  const sheet = one("#sheet");
  const svg = sheet && one("svg", sheet);
  const told = one("#told");
  const narrow = matchMedia("(max-width: 45rem)");
  const printing = matchMedia("print");
  const panes = every("#findings, #plan");
  const slot = `habitatlint ${location.pathname}`;
  document.documentElement.classList.add("alive");

  // -- what is remembered between two loads: a page that is watched loads often --------------------------------

  let state = { part: "map", hidden: [], wind: data.wind, finding: "", reasons: false, view: null, scrolled: {} };
  try {
    state = { ...state, ...JSON.parse(sessionStorage.getItem(slot) ?? "{}") };
  } catch {
    // a browser that keeps nothing for files: the page begins afresh
  }
  let saving = 0;
  function save() {
    clearTimeout(saving);
    saving = setTimeout(keep, 150);
  }
  function keep() {
    state.scrolled = Object.fromEntries(panes.map((pane) => [pane.id, pane.scrollTop]));
    try {
      sessionStorage.setItem(slot, JSON.stringify(state));
    } catch {
      // as above
    }
  }

  // -- the map: what of it is seen -----------------------------------------------------------------------------

  /** pixels of a millimetre (https://www.w3.org/TR/css-values-4/#absolute-lengths), and of a sign's at the least */
  const NATURAL = 96 / 25.4;
  const LEGIBLE = 3.4;
  const whole = svg && { ...boxOf(svg.viewBox.baseVal) };
  const overlay = svg && made("g", { class: "overlay" });
  // scent is hatched, for a print in grey
  const hatch = made("pattern", { id: "scent-hatch", width: 2.6, height: 2.6, patternUnits: "userSpaceOnUse" });
  hatch.append(made("path", { d: "M0 0V2.6", stroke: "#0072B2", "stroke-width": 0.25 }));
  let view = null; // x, y of the upper left corner and the width seen, in the drawing's millimetres
  let waiting = false;

  function boxOf({ x, y, width, height }) {
    return { x, y, width, height };
  }
  function made(name, attributes) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  }
  /** width over height of the pane */
  function aspect() {
    return sheet.clientHeight ? sheet.clientWidth / sheet.clientHeight : whole.width / whole.height;
  }
  function widest() {
    return Math.max(whole.width, whole.height * aspect());
  }
  function seeWhole() {
    const width = widest();
    view = { x: whole.x + (whole.width - width) / 2, y: whole.y + (whole.height - width / aspect()) / 2, width };
    state.view = null;
    draw();
  }
  function see(x, y, width) {
    const most = widest();
    const least = 8000 / data.window.scale; // eight metres
    width = Math.min(Math.max(width, Math.min(least, most)), most);
    const height = width / aspect();
    const held = (middle, from, length) => Math.min(Math.max(middle, from), from + length);
    view = {
      x: held(x + width / 2, whole.x, whole.width) - width / 2,
      y: held(y + height / 2, whole.y, whole.height) - height / 2,
      width,
    };
    remember();
    draw();
  }
  /** what is seen is kept as ground: the drawing's millimetres change with the plan */
  function remember() {
    const { west, south, height, edge, scale } = data.window;
    const metre = scale / 1000;
    state.view = {
      east: west + (view.x + view.width / 2 - whole.x - edge) * metre,
      north: south + (height - (view.y + view.width / aspect() / 2 - whole.y - edge)) * metre,
      metres: view.width * metre,
    };
    save();
  }
  function recall() {
    if (!state.view) return seeWhole();
    const { west, south, height, edge, scale } = data.window;
    const { east, north, metres } = state.view;
    const [unit, width] = [1000 / scale, (metres * 1000) / scale];
    const x = whole.x + edge + (east - west) * unit;
    const y = whole.y + edge + height - (north - south) * unit;
    see(x - width / 2, y - width / aspect() / 2, width);
  }
  function draw() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      if (!view || !sheet.clientWidth || printing.matches) return; // paper shows the whole
      svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.width} ${view.width / aspect()}`);
      const pixels = sheet.clientWidth / view.width;
      // signs and names keep the size at which they were laid out, where that can be read
      const size = Math.min(Math.max(sheet.clientWidth / widest(), LEGIBLE), NATURAL);
      svg.style.setProperty("--sign", String(size / pixels));
      hatch.setAttribute("patternTransform", `rotate(45) scale(${size / pixels})`);
      // what is strewn over areas is made for the whole map: near by, it would hide what lies there
      svg.classList.toggle("near", size / pixels < 0.4);
      const crowded = size / pixels > 1.3;
      if (crowded !== svg.classList.contains("crowded")) {
        svg.classList.toggle("crowded", crowded);
        one("#said").textContent = crowded ? "Names of smaller things show when you go nearer." : "";
      }
      measureBar(pixels);
    });
  }
  /** the bar of scale: the longest round length that fits */
  function measureBar(pixels) {
    const [unit, metres] = data.unit;
    const length = (pixels * 1000 * metres) / data.window.scale; // pixels of one unit
    const room = 150 / length;
    const ten = 10 ** Math.floor(Math.log10(room));
    const round = [5, 2, 1].map((step) => step * ten).find((step) => step <= room);
    one(".bar i").style.width = `${round * length}px`;
    one(".bar span").textContent = `${Number(round.toPrecision(3))} ${unit}`;
  }
  /** nearer or farther about a place of the window, else about the chosen finding, else about the middle */
  function zoom(by, clientX, clientY) {
    const box = sheet.getBoundingClientRect();
    let [right, down] = [(clientX - box.left) / box.width, (clientY - box.top) / box.height];
    if (clientX === undefined) {
      const about = one(".overlay .ring", svg)?.getBoundingClientRect();
      right = about ? (about.left + about.width / 2 - box.left) / box.width : 0.5;
      down = about ? (about.top + about.height / 2 - box.top) / box.height : 0.5;
      if (Math.min(right, down) < 0 || Math.max(right, down) > 1) right = down = 0.5;
    }
    const width = Math.min(view.width / by, widest());
    const less = view.width - width;
    see(view.x + less * right, view.y + (less / aspect()) * down, width);
  }
  function move(right, down) {
    see(view.x + right * view.width, view.y + (down * view.width) / aspect(), view.width);
  }
  /** an element's place on the map as a box in the drawing's millimetres */
  function placeOf(element) {
    const box = element.getBoundingClientRect();
    const back = svg.getScreenCTM().inverse();
    const from = new DOMPoint(box.left, box.top).matrixTransform(back);
    const to = new DOMPoint(box.right, box.bottom).matrixTransform(back);
    return { x: from.x, y: from.y, width: to.x - from.x, height: to.y - from.y };
  }
  /** what is to be brought into view once the map is seen: on a narrow window it may be hidden */
  let awaited = null;
  function bringIntoView(element) {
    awaited = sheet.clientWidth ? null : element;
    if (awaited) return;
    const { x, y, width, height } = placeOf(element);
    const [middle, centre] = [x + width / 2, y + height / 2];
    const high = view.width / aspect();
    const inside = (at, from, length) => at > from + length * 0.08 && at < from + length * 0.92;
    if (inside(middle, view.x, view.width) && inside(centre, view.y, high)) return;
    see(middle - view.width / 2, centre - high / 2, view.width);
  }

  // -- the map: hands and keys ---------------------------------------------------------------------------------

  if (svg) {
    svg.append(hatch, overlay);
    const fingers = new Map();
    let moved = false;
    const middle = () => {
      const places = [...fingers.values()];
      const x = places.reduce((sum, place) => sum + place[0], 0) / places.length;
      const y = places.reduce((sum, place) => sum + place[1], 0) / places.length;
      return { x, y, apart: places.length < 2 ? 0 : Math.hypot(places[0][0] - places[1][0], places[0][1] - places[1][1]) };
    };
    sheet.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      if (!fingers.size) moved = false;
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
    });
    sheet.addEventListener("pointermove", (event) => {
      if (!fingers.has(event.pointerId)) return;
      const before = middle();
      const [x, y] = fingers.get(event.pointerId);
      if (!moved && Math.hypot(event.clientX - x, event.clientY - y) < 4) return;
      if (!moved) sheet.setPointerCapture(event.pointerId);
      moved = true;
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      const now = middle();
      move((before.x - now.x) / sheet.clientWidth, (before.y - now.y) / sheet.clientHeight);
      if (before.apart && now.apart) zoom(now.apart / before.apart, now.x, now.y);
    });
    for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
      sheet.addEventListener(end, (event) => fingers.delete(event.pointerId));
    }
    sheet.addEventListener("click", (event) => {
      if (moved) return;
      const finding = event.target.closest(".finding[data-finding]");
      const block = event.target.closest("[data-line]");
      if (finding) choose(Number(finding.dataset.finding), "findings");
      else if (block && lineOfBlock(block)) lookAt(block, lineOfBlock(block));
      else clear();
    });
    sheet.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        const pixels = event.deltaMode === 1 ? event.deltaY * 16 : event.deltaY;
        zoom(Math.exp(-Math.min(Math.max(pixels, -300), 300) / 400), event.clientX, event.clientY);
      },
      { passive: false },
    );
    const keys = {
      "+": () => zoom(1.4), "=": () => zoom(1.4), "-": () => zoom(1 / 1.4), 0: seeWhole,
      ArrowLeft: () => move(-0.15, 0), ArrowRight: () => move(0.15, 0),
      ArrowUp: () => move(0, -0.15), ArrowDown: () => move(0, 0.15),
    };
    sheet.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const marker = event.target.closest(".finding[data-finding]");
      if (marker && (event.key === "Enter" || event.key === " ")) choose(Number(marker.dataset.finding), "findings");
      else if (keys[event.key]) keys[event.key]();
      else return;
      event.preventDefault();
    });
    one("[data-do=in]").addEventListener("click", () => zoom(1.4));
    one("[data-do=out]").addEventListener("click", () => zoom(1 / 1.4));
    one("[data-do=whole]").addEventListener("click", seeWhole);
    let shape = [0, 0];
    new ResizeObserver(() => {
      const now = [sheet.clientWidth, sheet.clientHeight];
      if (String(now) === String(shape) || !now[0] || printing.matches) return;
      shape = now;
      recall();
      if (awaited) bringIntoView(awaited);
    }).observe(sheet);
  }

  // -- layers and winds ----------------------------------------------------------------------------------------

  for (const box of every("input[data-layer]")) {
    const layers = every(`.layer[data-layer="${box.dataset.layer}"]`, svg);
    const show = () => layers.forEach((layer) => layer.classList.toggle("hidden", !box.checked));
    box.checked = !state.hidden.includes(box.dataset.layer);
    show();
    box.addEventListener("change", () => {
      state.hidden = every("input[data-layer]").filter((each) => !each.checked).map((each) => each.dataset.layer);
      show();
      save();
    });
  }
  const winds = one("#wind");
  if (winds) {
    // the layer lies where the drawing has it, or beneath the first layer that lies above scent
    let layer = one('.layer[data-layer="scent"]', svg);
    if (!layer) {
      const above = ["hazards", "trees", "ways", "boundary", "people", "notes", "findings"];
      const next = above.map((name) => one(`.layer[data-layer="${name}"]`, svg)).find(Boolean);
      layer = made("g", { class: "layer", "data-layer": "scent" });
      if (next) next.before(layer);
      else overlay.before(layer);
    }
    const blow = (aloud) => {
      const ground = data.winds[state.wind];
      layer.replaceChildren(...(ground ? ["plume", "plume hatched"].map((look) => made("path", { d: ground, class: look })) : []));
      layer.dataset.wind = state.wind;
      if (!aloud) return;
      if (!state.wind) tell("No wind is shown.");
      else if (!ground) tell(`Wind from ${state.wind}: no stand has a place, so no scent is shown.`);
      else tell(`Wind from ${state.wind}: the hatched ground is what scent from stands and walks reaches, as far as is common practice to reckon.`);
    };
    if (![...winds.options].some((option) => option.value === state.wind)) state.wind = "";
    winds.value = state.wind;
    blow(false);
    winds.addEventListener("change", () => {
      state.wind = winds.value;
      blow(true);
      save();
    });
  }

  // -- a finding, its lines and its place ----------------------------------------------------------------------

  const findings = new Map(data.findings.map((finding) => [finding.number, finding]));
  const numbers = [...findings.keys()];
  const itemOf = (number) => one(`#f${number}`);
  const markerOf = (number) => svg && one(`.finding[data-finding="${number}"]`, svg);
  const lineOf = (file, line) => document.getElementById(`l${file}-${line}`);
  const lineOfBlock = ({ dataset }) => lineOf(dataset.file ? data.files.indexOf(dataset.file) : 0, dataset.line);
  let chosen = null;

  for (const marker of svg ? every(".finding[data-finding]", svg) : []) {
    const number = Number(marker.dataset.finding);
    marker.setAttribute("tabindex", "0");
    marker.setAttribute("role", "button");
    marker.setAttribute("aria-label", findings.has(number) ? `finding ${number}, ${findings.get(number).level}` : `finding ${number}`);
  }

  function tell(words, more) {
    if (!told) return;
    told.replaceChildren(words);
    if (!more) return;
    const button = document.createElement("button");
    button.textContent = "Read it";
    button.addEventListener("click", () => showPart(more.part, more.focus));
    told.append(" ", button);
  }
  function clear() {
    for (const element of every(".chosen, .marked, .related")) element.classList.remove("chosen", "marked", "related");
    for (const head of every(".finding > .head")) head.setAttribute("aria-expanded", "false");
    overlay?.replaceChildren();
    globalThis.CSS?.highlights?.delete("finding");
    chosen = null;
    state.finding = "";
    if (told) told.textContent = "";
    save();
  }
  /** the very words a finding marks; its lines are marked in any browser */
  function markWords({ file, first, last, from, to }) {
    if (!globalThis.Highlight || to === null || !lineOf(file, last)) return;
    const ends = [[lineOf(file, first), from], [lineOf(file, last), to]].map(([line, column]) => {
      const walker = document.createTreeWalker(one("code", line), NodeFilter.SHOW_TEXT);
      let rest = column;
      while (walker.nextNode()) {
        if (rest <= walker.currentNode.length) return [walker.currentNode, rest];
        rest -= walker.currentNode.length;
      }
      return null;
    });
    if (ends.includes(null)) return;
    const range = new Range();
    range.setStart(...ends[0]);
    range.setEnd(...ends[1]);
    CSS.highlights.set("finding", new Highlight(range));
  }
  /** Chooses a finding, and leads to it among the findings, in the plan or on the map; `to` says where. */
  function choose(number, to, focus = true) {
    const finding = findings.get(number);
    if (!finding) return;
    clear();
    chosen = number;
    state.finding = finding.key;
    const item = itemOf(number);
    const head = one(".head", item);
    item.classList.add("chosen");
    head.setAttribute("aria-expanded", "true");
    const line = finding.file === null ? null : lineOf(finding.file, finding.first);
    if (line) {
      for (let at = finding.first; at <= Math.min(finding.last, finding.first + 400); at++) {
        lineOf(finding.file, at)?.classList.add("marked");
      }
      markWords(finding);
    }
    for (const id of finding.related) document.getElementById(id)?.classList.add("related");
    for (const tag of every(`.text .tag[data-to="${number}"]`)) tag.classList.add("chosen");
    const marker = markerOf(number);
    if (marker) {
      marker.classList.add("chosen");
      if (to !== "nowhere") bringIntoView(marker);
      ring(marker);
    }
    item.scrollIntoView({ block: "nearest" });
    head.scrollIntoView({ block: "nearest" });
    line?.scrollIntoView({ block: "center" });
    const tag = line && one(`.tag[data-to="${number}"]`, line);
    const place = { findings: head, plan: tag ?? line, map: marker ?? sheet }[to];
    // on a telephone the map stays, and says what was touched
    const stay = narrow.matches && state.part === "map" && to === "findings";
    tell(one(".head", item).textContent, narrow.matches ? { part: "findings", focus: head } : null);
    if (to === "nowhere") return;
    if (narrow.matches && !stay) showPart(to, focus ? place : null);
    else if (focus && !stay) place?.focus({ preventScroll: true });
    save();
  }
  function ring(element) {
    overlay.replaceChildren();
    if (element.matches(".finding")) {
      const group = made("g", { transform: element.getAttribute("transform") });
      const sign = made("g", { class: "sign" });
      sign.append(made("circle", { r: "2.6", class: "ring" }));
      group.append(sign);
      overlay.append(group);
    } else overlay.append(made("rect", { ...placeOf(element), class: "ring" }));
  }
  /** a thing was touched on the map or in the plan: its lines here, its place there */
  function lookAt(block, head, fromPlan) {
    clear();
    let line = head;
    do {
      line.classList.add("marked");
      line = line.nextElementSibling;
    } while (line && isInner(line));
    if (block) {
      ring(block);
      bringIntoView(block);
    }
    if (!fromPlan) head.scrollIntoView({ block: "center" });
    tell(one("code", head).textContent, narrow.matches && !fromPlan ? { part: "plan", focus: null } : null);
  }
  /** a line of a block below its head */
  function isInner(line) {
    return /^[ \t]+\S/.test(one("code", line).textContent);
  }
  function step(by) {
    if (!numbers.length) return;
    const at = numbers.indexOf(chosen);
    const next = at < 0 ? (by > 0 ? 0 : numbers.length - 1) : (at + by + numbers.length) % numbers.length;
    choose(numbers[next], narrow.matches ? state.part : "findings");
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    let line = event.target.closest(".text li");
    if (!button && line && getSelection().isCollapsed) {
      while (isInner(line) && line.previousElementSibling) line = line.previousElementSibling;
      const [, file, number] = /^l(\d+)-(\d+)$/.exec(line.id) ?? [];
      const of = file === "0" ? ":not([data-file])" : `[data-file="${CSS.escape(data.files[file] ?? "")}"]`;
      const block = number && svg && one(`[data-line="${number}"]${of}`, svg);
      if (block) lookAt(block, line, true);
    }
    if (!button) return;
    const number = Number(button.closest("li.finding")?.dataset.finding);
    const { do: what, to } = button.dataset;
    if (button.matches(".finding > .head")) {
      if (chosen === number) clear();
      else choose(number, "findings");
    } else if (what === "place") choose(number, "map");
    else if (what === "line") {
      choose(number, "plan");
      document.getElementById(to)?.scrollIntoView({ block: "center" });
    } else if (what === "finding") choose(Number(to), "findings");
    else if (what === "next") step(1);
    else if (what === "previous") step(-1);
    else if (button.dataset.part) showPart(button.dataset.part);
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
    if (event.key === "n") step(1);
    else if (event.key === "p") step(-1);
    else if (event.key === "Escape") clear();
  });
  one("#reasons").checked = state.reasons;
  const showReasons = () => one(".found").classList.toggle("whole", one("#reasons").checked);
  showReasons();
  one("#reasons").addEventListener("change", () => {
    state.reasons = one("#reasons").checked;
    showReasons();
    save();
  });

  // -- parts, on a narrow window; print; the watch server ------------------------------------------------------

  function showPart(part, focus) {
    state.part = part;
    document.body.dataset.part = part;
    for (const button of every(".parts button")) button.setAttribute("aria-pressed", String(button.dataset.part === part));
    if (chosen !== null && narrow.matches) {
      const { file, first } = findings.get(chosen);
      if (part === "plan" && file !== null) lineOf(file, first)?.scrollIntoView({ block: "center" });
      if (part === "findings") itemOf(chosen).scrollIntoView({ block: "nearest" });
    }
    focus?.focus({ preventScroll: true });
    save();
  }
  showPart(state.part);

  const legend = one(".legend");
  let opened = false;
  printing.addEventListener("change", () => {
    if (!svg) return;
    if (printing.matches) {
      opened = legend.open;
      legend.open = true;
      svg.setAttribute("viewBox", `${whole.x} ${whole.y} ${whole.width} ${whole.height}`);
      svg.style.setProperty("--sign", "1");
      svg.classList.remove("crowded", "near");
    } else {
      legend.open = opened;
      draw();
    }
  });

  const again = state.finding && data.findings.find((finding) => finding.key === state.finding);
  if (again) choose(again.number, "nowhere");
  for (const pane of panes) pane.scrollTop = state.scrolled[pane.id] ?? 0;
  addEventListener("pagehide", keep);

  if (data.live !== null) {
    const stream = new EventSource(data.events);
    stream.addEventListener("message", (event) => {
      document.body.classList.remove("alone");
      if (event.data === data.live) return;
      keep();
      location.reload();
    });
    stream.addEventListener("error", () => document.body.classList.add("alone"));
  }
}
