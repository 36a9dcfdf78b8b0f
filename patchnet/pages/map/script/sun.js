// Hours of direct sun: what the plots are shaded by, and a part of the card. Nothing without data.

const SUN = DATA.sun;
const SUN_HOURS = SUN ? SUN.hours.map(numbers) : [];
const SUN_LEAST = SUN ? SUN.least.map(numbers) : [];
const SUN_MORNING = SUN ? SUN.morning.map(numbers) : [];
const SUN_UNCOUNTED = SUN ? numbers(SUN.uncounted) : [];

// To half an hour: the mean over a plot is no truer than that.
const sunNum = (hours) => num(hours < 10 ? Math.round(hours * 2) / 2 : Math.round(hours));
const sunColumn = (head, hours) => numberColumn(head, hours, (plot) => sunNum(hours[plot]));

const sunRange = (at) => {
  const parts = { from: num(SUN.bounds[at - 1] || 0), to: num(SUN.bounds[at] || 0) };
  return fill(at === 0 ? W.sun_first : at === SUN.bounds.length ? W.sun_last : W.sun_middle, parts);
};

// What is 3 hours is part shade already; full sun is more than 6.
const sunBin = (hours) => SUN.bounds.filter((bound, at) => (at < 2 ? hours >= bound : hours > bound)).length;

function sunLayer(month) {
  const at = (month || SUN.midsummer) - 1;
  const [hours, least, morning] = [SUN_HOURS[at], SUN_LEAST[at], SUN_MORNING[at]];
  const afternoon = hours.map((all, plot) => Math.max(0, all - morning[plot]));
  // Light is much sun, dark is little.
  const tints = [T.steps[4], T.steps[3], T.steps[2], T.ample[0], T.ample[1]];
  return {
    title: month ? fill(W.title_sun, { month: W.months[at] }) : W.title_sun_midsummer,
    note: fill(SUN.measured ? W.note_sun_measured : W.note_sun, { open: sunNum(SUN.open[at]) }),
    classes: [
      { words: W.sun_unknown, tint: T.unknown },
      ...tints.map((tint, bin) => ({
        words: month ? sunRange(bin) : fill(W.sun_named, { name: W.sun_classes[bin], words: sunRange(bin) }),
        tint,
      })),
    ],
    of: (plot) => (Number.isNaN(hours[plot]) ? 0 : 1 + sunBin(hours[plot])),
    doubt: (plot) => !Number.isNaN(hours[plot]) && sunBin(least[plot]) !== sunBin(hours[plot]),
    doubtWords: W.doubt_sun,
    columns: [
      sunColumn(W.head_sun, hours),
      sunColumn(W.head_sun_morning, morning),
      sunColumn(W.head_sun_afternoon, afternoon),
      numberColumn(W.head_range, hours, (plot) =>
        Number.isNaN(hours[plot]) ? W.none : fill(W.low_high, { low: sunNum(least[plot]), high: sunNum(hours[plot]) }),
      ),
    ],
  };
}

// The sun on one plot: a sentence and a row of months.
function sunOf(plot) {
  if (!SUN) return [];
  const title = el("h3", {}, W.card_sun);
  const high = SUN_HOURS[SUN.midsummer - 1][plot];
  if (Number.isNaN(high)) return [title, el("p", {}, W.card_sun_unknown)];
  const [least, morning] = [SUN_LEAST, SUN_MORNING].map((months) => months[SUN.midsummer - 1][plot]);
  const parts = {
    hours: sunNum(high),
    class: W.sun_classes[sunBin(high)],
    morning: sunNum(morning),
    afternoon: sunNum(Math.max(0, high - morning)),
  };
  const heads = W.months.map((month) => el("th", { scope: "col" }, el("abbr", { title: month }, month.slice(0, 3))));
  const cells = SUN_HOURS.map((hours) => el("td", {}, sunNum(hours[plot])));
  const table = el(
    "table",
    { class: "months", "aria-label": W.card_sun_table },
    el("thead", {}, el("tr", {}, ...heads)),
    el("tbody", {}, el("tr", {}, ...cells)),
  );
  return [
    title,
    el("p", {}, fill(W.card_sun_words, parts)),
    el("p", { class: "under" }, W.card_sun_caption),
    el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": W.card_sun_table }, table),
    sunNum(least) === sunNum(high)
      ? null
      : el("p", { class: "unsure" }, fill(W.card_sun_least, { n: num(SUN_UNCOUNTED[plot]), least: sunNum(least) })),
  ].filter(Boolean);
}
