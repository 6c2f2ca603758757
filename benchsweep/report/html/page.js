"use strict";
// Values read off the charts by pointer and by keyboard, and a choice of pairs. The page is whole without this:
// everything here is made by the script, so that nothing without effect is seen where scripts do not run.

const words = JSON.parse(document.getElementById("words").textContent);

// ---- Elements

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function button(label, act) {
  const made = make("button", { type: "button" }, label);
  made.addEventListener("click", act);
  return made;
}

// What is read aloud: said once a person has stopped stepping, so that a held key does not queue up speech.
const spoken = make("div", { class: "spoken", "aria-live": "polite" });
const help = make("div", { class: "spoken", id: "reading-keys" }, words.keys);
document.getElementById("report").append(spoken, help);
let pause = 0;
function say(text) {
  clearTimeout(pause);
  pause = setTimeout(() => { spoken.textContent = text; }, 300);
}

// ---- Numbers

// Differences of integers (value x scale), zigzag, seven bits to a byte, low ones first. Products, not shifts: these
// are exact beyond 32 bits. Decoded when it is first asked for. `scale`: numbers per unit.
const PER_UNIT = 10000;
function unpacked(packed) {
  if (packed.values) return packed.values;
  const bytes = atob(packed.v);
  const values = [];
  const perUnit = packed.scale ?? PER_UNIT;
  let sum = 0, part = 0, scale = 1;
  for (let i = 0; i < bytes.length; i++) {
    const byte = bytes.charCodeAt(i);
    part += (byte & 127) * scale;
    scale *= 128;
    if (byte & 128) continue;
    sum += part % 2 ? -(part + 1) / 2 : part / 2;
    values.push(sum / perUnit);
    part = 0;
    scale = 1;
  }
  for (const [start, stop] of packed.gaps ?? []) values.fill(NaN, start, stop);
  packed.values = values;
  return values;
}

const count = (grid) => grid.values ? grid.values.length : grid.count;
const place = (grid, i) => grid.values ? grid.values[i] : grid.first + i * grid.step;

// The grid point that is seen nearest to x.
function nearest(grid, x, log) {
  let low = 0, high = count(grid) - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (place(grid, middle) <= x) low = middle; else high = middle;
  }
  const seen = log ? Math.log : (value) => value;
  return seen(x) - seen(place(grid, low)) <= seen(place(grid, high)) - seen(x) ? low : high;
}

// The value at x of something on another grid: that of its nearest point, none beyond its ends.
function valueAt(packed, grid, x) {
  if (!count(grid)) return NaN;
  const i = nearest(grid, x, false), last = count(grid) - 1;
  const step = last ? Math.abs(place(grid, i) - place(grid, i ? i - 1 : 1)) : 0;
  return Math.abs(place(grid, i) - x) <= 0.501 * step + 1e-9 * Math.abs(x) ? unpacked(packed)[i] : NaN;
}

// A scale may be told of a chart, of a panel, or of one line of numbers.
function scaled(panel, scale) {
  for (const told of [...panel.limits, ...panel.curves, ...panel.bands ?? []]) {
    for (const packed of [told.data, told.low, told.high]) if (packed) packed.scale ??= told.scale ?? panel.scale ?? scale;
  }
}

// Two decimals; of what would then be nothing, two digits that say something.
function plain(value) {
  if (!Number.isFinite(value)) return "-";
  const told = value.toFixed(2);
  return value && !Number(told) ? String(Number(value.toPrecision(2))) : told;
}
const signed = (value) => (value >= 0 ? "+" : "") + plain(value);
const shortest = (value) => String(Number(value.toPrecision(7)));
// A place on a grid, in no more digits than tell it from the next one, and two.
function placed(grid, i) {
  const step = count(grid) > 1 ? Math.abs(place(grid, i) - place(grid, i ? i - 1 : 1)) : 0;
  if (!step) return shortest(place(grid, i));
  return String(Number(place(grid, i).toFixed(Math.min(Math.max(2 - Math.floor(Math.log10(step)), 0), 9))));
}
const withUnit = (text, axis) => axis.unit && text !== "-" ? `${text}\u00a0${axis.unit}` : text;
function interval(low, high) {
  if (plain(low) === plain(high)) return plain(low);
  return `+${plain(high)} / -${plain(low)}`;
}

// ---- Which pairs a person wants to see

const hidden = new Set(); // pairs, in all parts of the page that offer a choice
const choices = []; // of each such part: what shows the choice in it
const readers = new Map(); // figure -> what must be told anew when the choice changes

function shown(figure, pairs) {
  if (!hidden.size || !pairs || !pairs.length || !figure.closest("[data-tellable]")) return true;
  return pairs.some((pair) => !hidden.has(pair));
}

function choosePairs(section) {
  const pairs = section.dataset.tellable.split(" ");
  if (!section.querySelector(".drawn [data-pairs]")) return;
  const boxes = pairs.map((pair) => make("input", { type: "checkbox", value: pair, checked: "" }));
  const note = make("span", { role: "status" }), legend = make("legend");
  choices.push(() => {
    legend.textContent = choices.length > 1 ? words.pairs_everywhere : words.pairs;
    for (const box of boxes) box.checked = !hidden.has(box.value);
    note.textContent = boxes.some((box) => box.checked) ? "" : words.no_pair;
    for (const figure of section.querySelectorAll(".drawn")) {
      for (const group of figure.querySelectorAll("svg [data-pairs]")) {
        group.classList.toggle("off", !shown(figure, group.dataset.pairs.split(" ").filter(Boolean)));
      }
      readers.get(figure)?.();
    }
  });
  const all = button(words.all_pairs, () => {
    hidden.clear();
    showChoice();
  });
  const field = make("fieldset", { class: "pairs" }, legend,
    ...boxes.map((box, i) => make("label", {}, box, pairs[i])), all, note);
  field.addEventListener("change", ({ target }) => {
    if (target.checked) hidden.delete(target.value); else hidden.add(target.value);
    showChoice();
  });
  // Behind the title and whatever stands before the first part with a chart.
  const first = [...section.children].find((child) => child.querySelector(".drawn") || child.matches(".drawn"));
  first.before(field);
}

function showChoice() {
  for (const show of choices) show();
}

// ---- Readout

function readable(figure, source) {
  const holders = figure.querySelectorAll(".plot"), caption = figure.querySelector("figcaption").textContent;
  const table = make("table"), box = make("div", { class: "readout" });
  const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
  line.setAttribute("class", "cursor");
  let current = null; // the panel that is read

  // Where to read, as a number: taken when it is complete, and then that of the nearest point.
  const field = make("input", { type: "number", step: "any", inputmode: "decimal" });
  const before = make("span"), behind = make("span");
  field.addEventListener("change", () => {
    const wanted = Math.min(Math.max(field.valueAsNumber, field.min), field.max);
    if (Number.isFinite(wanted)) show(current, wanted, true);
    else show(current, current.at);
  });

  box.append(make("div", { class: "wide" }, table), make("div", { class: "keys" },
    make("label", {}, before, field, behind),
    button(words.back, () => step(-1)), button(words.on, () => step(1)), button(words.worst, () => worst()),
    make("span", { "aria-hidden": "true" }, words.keys)));

  const chart = JSON.parse(source.textContent);
  const panels = chart.panels.map((told, place) => {
    const holder = holders[place] ?? holders[0], svg = holder.querySelector("svg"), view = svg.viewBox.baseVal;
    const [x, y, w, h] = told.box;
    const name = [caption, told.name ?? told.title].filter(Boolean).join(", ");
    const slider = make("div", {
      class: "reader", tabindex: "0", role: "slider", "aria-label": `${words.read}: ${name}`,
      "aria-describedby": "reading-keys",
    });
    Object.assign(slider.style, {
      left: `${100 * (x - view.x) / view.width}%`, top: `${100 * (y - view.y) / view.height}%`,
      width: `${100 * w / view.width}%`, height: `${100 * h / view.height}%`,
    });
    scaled(told, chart.scale);
    const panel = { ...told, name, slider, holder, svg, at: null, next: 0 };
    const seen = told.x.log ? Math.log : (value) => value;
    panel.share = (value) => (seen(value) - seen(told.x.low)) / (seen(told.x.high) - seen(told.x.low));
    panel.along = (share) => told.x.log ? told.x.low * (told.x.high / told.x.low) ** share
      : told.x.low + share * (told.x.high - told.x.low);
    return panel;
  }).filter((panel) => panel.grids.some(count));
  for (const { holder, slider } of panels) holder.querySelector(".sheet").append(slider);

  const visible = (panel) => panel.curves.filter((curve) => shown(figure, curve.pairs));

  // The grid that is stepped through, and its ends inside the panel.
  function steps(panel) {
    const grid = [...visible(panel).map((curve) => panel.grids[curve.grid]), ...panel.grids].find(count);
    let first = 0, last = count(grid) - 1;
    while (first < last && panel.share(place(grid, first)) < -1e-6) first++;
    while (last > first && panel.share(place(grid, last)) > 1 + 1e-6) last--;
    return { grid, first, last };
  }

  function readings(panel, x) {
    return visible(panel).map((curve) => {
      const grid = panel.grids[curve.grid];
      const value = valueAt(curve.data, grid, x);
      const i = nearest(grid, x, false);
      const idle = (curve.idle ?? []).some(([start, stop]) => start <= i && i < stop);
      const line = idle || curve.limit === null || curve.limit === undefined ? null : panel.limits[curve.limit];
      const limit = line ? valueAt(line.data, panel.grids[line.grid], x) : NaN;
      const margin = line?.sense === "max" ? limit - value : value - limit;
      const known = curve.low && curve.high;
      return {
        name: curve.name, value, limit, margin,
        u: known ? interval(valueAt(curve.low, grid, x), valueAt(curve.high, grid, x)) : "-",
      };
    });
  }

  // What lies between two curves, such as the least and the greatest of many specimens.
  function bandReadings(panel, x) {
    return (panel.bands ?? []).map((band) => {
      const [low, high] = [band.low, band.high].map((data) => valueAt(data, panel.grids[band.grid], x));
      return { name: band.name, told: `${plain(low)} \u2026 ${plain(high)}` };
    });
  }

  function show(panel, x, aloud = false) {
    const { grid, first, last } = steps(panel);
    const i = Math.min(Math.max(nearest(grid, x, panel.x.log), first), last);
    panel.at = place(grid, i);
    current = panel;
    const here = placed(grid, i), at = withUnit(here, panel.x);
    const rows = [...readings(panel, panel.at), ...bandReadings(panel, panel.at)];
    const limited = panel.curves.some((curve) => panel.limits[curve.limit]);
    const sure = panel.curves.some((curve) => curve.low && curve.high);
    const unit = panel.y.unit ? ` (${panel.y.unit})` : "";
    const heads = [words.value + unit, ...limited ? [words.limit, words.margin] : [], ...sure ? [`± ${words.uncertainty}`] : []];
    table.replaceChildren(
      make("caption", {}, make("span", {}, [panel.name, `${panel.x.words} ${at}`.trim()].filter(Boolean).join(", "))),
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, words.curve),
        ...heads.map((head) => make("th", { scope: "col", class: "n" }, head)))),
      make("tbody", {}, ...rows.map((row) => make("tr", row.margin < 0 ? { class: "fail" } : {},
        make("th", { scope: "row", ...row.name.length > 20 || row.name.includes(" ") ? {} : { class: "k" } }, row.name),
        ...[row.told ?? plain(row.value), ...limited ? [plain(row.limit), signed(row.margin)] : [], ...sure ? [row.u ?? "-"] : []]
          .map((text) => make("td", { class: "n" }, text))))));
    if (!rows.length) table.append(make("tbody", {}, make("tr", {}, make("td", { colspan: 1 + heads.length }, words.no_curve))));
    if (box.parentElement !== panel.holder) {
      // What is pointed at stays where it is when the readout leaves a panel above it.
      const { top } = panel.slider.getBoundingClientRect();
      panel.holder.append(box);
      scrollBy({ top: panel.slider.getBoundingClientRect().top - top, behavior: "instant" });
      widths.observe(table.parentElement);
    }
    const ends = { min: shortest(place(grid, first)), max: shortest(place(grid, last)) };
    for (const [name, value] of Object.entries(ends)) field.setAttribute(name, value);
    field.value = here;
    before.textContent = panel.x.words || words.curve;
    behind.textContent = panel.x.unit;

    const [left, top, w, h] = panel.box, across = (left + w * panel.share(panel.at)).toFixed(2);
    for (const [name, value] of [["x1", across], ["x2", across], ["y1", top], ["y2", top + h]]) line.setAttribute(name, value);
    if (line.parentElement !== panel.svg) panel.svg.append(line);
    const { slider } = panel;
    const told = `${at}; ${inShort(rows, panel.y)}`;
    slider.setAttribute("aria-valuemin", ends.min);
    slider.setAttribute("aria-valuemax", ends.max);
    slider.setAttribute("aria-valuenow", shortest(panel.at));
    slider.setAttribute("aria-valuetext", told);
    // A slider in focus is read aloud as it changes.
    if (aloud && document.activeElement !== slider) say(told);
  }

  // The curve that is nearest to its limit, or worst beyond it; without limits the first few.
  function inShort(rows, axis) {
    const graded = rows.filter((row) => Number.isFinite(row.margin));
    if (!rows.length) return words.no_curve;
    if (!graded.length) return rows.slice(0, 3).map((row) => `${row.name}: ${withUnit(row.told ?? plain(row.value), axis)}`).join("; ");
    const least = graded.reduce((one, other) => other.margin < one.margin ? other : one);
    return `${least.name}: ${withUnit(plain(least.value), axis)}, ${words.margin} ${withUnit(signed(least.margin), axis)}`;
  }

  function step(by) {
    const { grid, first, last } = steps(current);
    const i = nearest(grid, current.at, current.x.log) + by;
    show(current, place(grid, Math.min(Math.max(i, first), last)), true);
  }

  // The marks one after the other; where none is drawn, the least margin.
  function worst() {
    const marks = current.marks.filter((mark) => shown(figure, mark.pairs));
    if (marks.length) return show(current, marks[current.next++ % marks.length].x, true);
    const { grid, first, last } = steps(current);
    let least = Infinity, where = current.at;
    for (let i = first; i <= last; i++) {
      for (const { margin } of readings(current, place(grid, i))) {
        if (margin < least) [least, where] = [margin, place(grid, i)];
      }
    }
    show(current, where, true);
  }

  const far = (panel) => Math.max(1, Math.round(count(steps(panel).grid) / 20));
  const keys = {
    ArrowRight: () => step(1), ArrowUp: () => step(1), ArrowLeft: () => step(-1), ArrowDown: () => step(-1),
    PageUp: (panel) => step(far(panel)), PageDown: (panel) => step(-far(panel)),
    Home: () => step(-Infinity), End: () => step(Infinity), w: worst, W: worst,
  };
  for (const panel of panels) {
    const { slider } = panel;
    const pointed = (event) => {
      const edges = slider.getBoundingClientRect();
      show(panel, panel.along(Math.min(Math.max((event.clientX - edges.left) / edges.width, 0), 1)));
    };
    slider.addEventListener("focus", () => show(panel, panel.at ?? panel.marks[0]?.x ?? panel.along(0.5), true));
    slider.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || !Object.hasOwn(keys, event.key)) return;
      event.preventDefault();
      if (current !== panel) show(panel, panel.at);
      keys[event.key](panel);
    });
    slider.addEventListener("pointermove", (event) => {
      if (event.pointerType !== "touch" && moved(event)) pointed(event);
    });
    slider.addEventListener("pointerdown", (event) => { if (event.pointerType !== "touch") pointed(event); });
    slider.addEventListener("click", pointed);
    // What a slider must tell before it is first used.
    const { grid, first, last } = steps(panel);
    slider.setAttribute("aria-valuemin", shortest(place(grid, first)));
    slider.setAttribute("aria-valuemax", shortest(place(grid, last)));
    slider.setAttribute("aria-valuenow", shortest(place(grid, first)));
  }
  readers.set(figure, () => { if (current) show(current, current.at); });
}

// Scrolling moves the page beneath a pointer that rests: nothing is to unfold then.
let rested = "";
function moved(event) {
  const before = rested;
  rested = `${event.screenX} ${event.screenY}`;
  return rested !== before;
}
document.addEventListener("pointermove", moved);

// ---- Folded parts, wide tables, print

function openTarget() {
  const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const folded = target && [...target.children].find((child) => child.matches("details"));
  if (folded) folded.open = true;
}

function foldControl() {
  const folded = [...document.querySelectorAll("main section details")];
  if (folded.length < 2) return;
  const all = button(words.open_all, () => {
    const open = all.textContent === words.open_all;
    for (const part of folded) part.open = open;
    all.textContent = open ? words.fold_all : words.open_all;
  });
  document.getElementById("report").prepend(make("p", { class: "fold" }, all));
}

// What is wider than the page can be moved sideways with the keyboard too, and then has a name.
const widths = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    const name = target.querySelector("caption") ?? target.closest("figure")?.querySelector("figcaption");
    const attributes = { tabindex: "0", role: "group", "aria-label": name?.textContent ?? "" };
    for (const [key, value] of Object.entries(attributes)) {
      if (value && target.scrollWidth > target.clientWidth + 1) target.setAttribute(key, value);
      else target.removeAttribute(key);
    }
  }
});

// Style opens what is folded in print; browsers that cannot do so need this.
if (!CSS.supports("selector(details::details-content)")) {
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const part of opened) part.open = true;
  });
  addEventListener("afterprint", () => { for (const part of opened) part.open = false; });
}

addEventListener("hashchange", openTarget);
openTarget();
foldControl();
// A list of contents leaves room on a small screen for what it leads to.
for (const list of document.querySelectorAll("nav .few")) list.open = matchMedia("(min-width: 40rem)").matches;
document.querySelectorAll("[data-tellable]").forEach(choosePairs);
showChoice();
document.querySelectorAll(".wide").forEach((wide) => widths.observe(wide));

// Charts are prepared a few at a time: reports of many specimens have thousands, and must scroll at once.
const waiting = [...document.querySelectorAll(".drawn > script")];
(function prepare() {
  const began = performance.now();
  while (waiting.length && performance.now() - began < 12) {
    const source = waiting.shift();
    readable(source.parentElement, source);
  }
  if (waiting.length) setTimeout(prepare);
})();
