// Numbers, names and months in words.

const G = DATA.groups;
const F = DATA.features;
const PLOTS = P.id.length;

// Somebody's own text inside our sentence: its direction of writing stays inside it.
const own = (text) => "\u2068" + text.replace(/[\u202a-\u202e\u2066-\u2069]/g, "") + "\u2069";

function svg(tag, attributes, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

// Two significant digits, as in the tables of the programme. Made once: a locale is dear to look up.
const SHORT = new Intl.NumberFormat(LOCALE, { maximumFractionDigits: 4 });
function num(value) {
  if (Number.isNaN(value)) return W.not_known;
  if (value === 0) return "0";
  if (value >= 9.8e12) return W.any_number;
  return value < 0.001 ? "<" + SHORT.format(0.001) : SHORT.format(Number(value.toPrecision(2)));
}

const metres = (value) =>
  value < 0.5 ? W.touching : fill(W.metres, { n: num(value < 10 ? value : Math.round(value)) });

// How far off a plot is: no finer than a map of gardens knows it.
const awayBy = (value) => metres(value < 0.5 ? value : Math.round(value));

const homes = (value) => fill(num(value) === "1" ? W.home : W.homes, { n: num(value) });

function range(low, middle, high) {
  const [a, b, c] = [num(low), num(middle), num(high)];
  return a === c ? b : fill(W.range, { low: a, middle: b, high: c });
}

const lowHigh = (low, high) =>
  num(low) === num(high) ? num(low) : fill(W.low_high, { low: num(low), high: num(high) });

// A quiet bar from nothing to the high end: 9 in 10 draws lie in the dark part, the line is the mean.
function rangeBar(low, mean, high) {
  if (!DATA.draws || !(high > low)) return "";
  const at = (value) => (100 * value) / high;
  const words = fill(W.range_bar, { high: num(high) });
  return svg(
    "svg",
    { class: "range-bar", viewBox: "0 0 100 8", role: "img", "aria-label": words, preserveAspectRatio: "none" },
    svg("title", {}, words),
    svg("rect", { class: "whole", x: 0, y: 3, width: 100, height: 2 }),
    svg("rect", { class: "middle", x: at(low), y: 1, width: at(high) - at(low), height: 6 }),
    svg("rect", { class: "mean", x: Math.max(0, at(mean) - 0.75), y: 0, width: 1.5, height: 8 }),
  );
}

// Words that stand there already stay: written anew they would be laid out anew.
function write(place_, words) {
  if (place_.textContent !== words) place_.textContent = words;
}

const upper = (words) => words.charAt(0).toUpperCase() + words.slice(1);
const sentence = (words) => words.replace(/\.?$/, ".");

const plural = (count, one, many) => fill(count === 1 ? one : many, { n: inFull(count) });

const LISTS = new Intl.ListFormat(LOCALE);
const listed = (parts) => LISTS.format(parts);

// Months as spans, over the new year too: "March to June", "November to February".
function months(wanted) {
  const has = (month) => wanted.includes(((month + 11) % 12) + 1);
  if (wanted.length === 12) return W.all_year;
  const spans = [];
  for (const start of wanted) {
    if (has(start - 1)) continue;
    let end = start;
    while (has(end + 1)) end += 1;
    const last = W.months[(end - 1) % 12];
    spans.push(end === start ? last : fill(W.month_span, { from: W.months[start - 1], to: last }));
  }
  return listed(spans);
}

const street = (plot) => P.streets[P.street[plot]];

// What a plot is called: its label, with the street before a bare house number or where others
// have the same label.
const taken = new Map();
for (const name of P.label) taken.set(name, (taken.get(name) || 0) + 1);
const LABELS = P.id.map((id, plot) => {
  const name = P.label[plot] || id;
  const bare = /^\d/.test(name) || taken.get(P.label[plot]) > 1;
  return bare && street(plot) && !name.includes(street(plot)) ? street(plot) + " " + name : name;
});
const label = (plot) => LABELS[plot];
