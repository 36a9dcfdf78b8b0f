// What the plots are shaded by. A layer is {title, classes, of, doubt, columns, note}:
// `of(plot)` is the plot's class, `columns` the facts of the table: {head, text, order}.

const T = COLOURS;
const ALL = -1;

const marked = (tint, mark) => [tint[0], tint[1], tint[2], tint[3], mark];
const textColumn = (head, text) => ({ head, text, order: text });
const numberColumn = (head, values, text) => ({
  head,
  text: text || ((plot) => num(values[plot])),
  order: (plot) => (Number.isNaN(values[plot]) ? -1 : values[plot]),
  number: true,
});

// Bounds on the series 1, 2, 5 near the quarters of what occurs, so that they read well.
function niceBounds(values) {
  const sorted = values.filter((value) => value > 0).sort((a, b) => a - b);
  if (!sorted.length) return [];
  const nice = (value) => {
    const power = 10 ** Math.floor(Math.log10(value));
    const lead = value / power;
    return Number(((lead < 1.5 ? 1 : lead < 3.5 ? 2 : lead < 7.5 ? 5 : 10) * power).toPrecision(1));
  };
  const quarters = [0.25, 0.5, 0.75].map((part) => nice(sorted[Math.floor(part * (sorted.length - 1))]));
  return [...new Set(quarters)].filter((bound) => bound < sorted[sorted.length - 1]);
}

// Classes of a scale: one more than there are bounds.
function scale(bounds_, unit) {
  const tints = [T.steps[1], T.steps[2], T.steps[3], T.steps[4]].slice(3 - bounds_.length);
  return tints.map((tint, at) => {
    const parts = { from: num(bounds_[at - 1] || 0), to: num(bounds_[at] || 0), unit };
    if (!bounds_.length) return { words: fill(W.scale_any, parts), tint };
    if (at === 0) return { words: fill(W.scale_first, parts), tint };
    if (at === bounds_.length) return { words: fill(W.scale_last, parts), tint };
    return { words: fill(W.scale_middle, parts), tint };
  });
}

// Homes on a plot: where even the bounds are next to nothing, words say more than figures.
const LEAST_BOUND = 0.1;
function homesScale(bounds_) {
  const classes = scale(bounds_, W.unit_homes);
  if (!bounds_.length || bounds_[0] >= LEAST_BOUND) return classes;
  return classes.map((one, at) => ({ ...one, words: W.scale_shares[at + W.scale_shares.length - classes.length] }));
}

const binOf = (bounds_, value) => bounds_.filter((bound) => value > bound).length;

function homesLayer(group) {
  const [held, low, high, room] = ["homes", "low", "high", "room"].map((key) => column(group[key]));
  const bounds_ = niceBounds([...held]);
  return {
    title: fill(W.title_homes, { group: group.name }),
    note: W.note_index,
    classes: [
      { words: W.no_patch, tint: T.absent },
      { words: W.patch_no_home, tint: T.steps[0] },
      ...homesScale(bounds_),
    ],
    of: (plot) => (held[plot] > 0 ? 2 + binOf(bounds_, held[plot]) : flagged(group.patch, plot) ? 1 : 0),
    doubt: (plot) => flagged(group.open, plot),
    doubtWords: W.doubt_homes,
    columns: [
      numberColumn(W.head_homes, held),
      numberColumn(W.head_range, high, (plot) => lowHigh(low[plot], high[plot])),
      numberColumn(W.head_room, room),
    ],
  };
}

function enoughClass(enough, room) {
  if (room === 0) return 0;
  if (enough === 0) return 1;
  if (enough < room / 2) return 2;
  if (enough < room) return 3;
  return enough < room * 2 ? 4 : 5;
}

function needLayer(group, at) {
  const need = group.needs[at];
  const [enough, low, high, room, met] = ["enough", "low", "high", "room", "met"].map((key) => column(need[key]));
  return {
    title: fill(W.title_need, { group: group.name, need: need.name }),
    note: fill(W.note_need, {
      months: months(need.months),
      reach: inFull(need.reach),
      amount: num(need.amount),
      unit: need.unit,
      class: W.classes[need.class],
    }),
    classes: [
      { words: W.no_room, tint: T.absent },
      { words: W.enough_none, tint: T.short[2] },
      { words: W.enough_under_half, tint: T.short[1] },
      { words: W.enough_under, tint: T.short[0] },
      { words: W.enough_all, tint: T.ample[0] },
      { words: W.enough_twice, tint: T.ample[1] },
    ],
    of: (plot) => enoughClass(enough[plot], room[plot]),
    doubt: (plot) => flagged(need.open, plot),
    doubtWords: W.doubt_need,
    columns: [
      numberColumn(W.head_enough, enough),
      numberColumn(W.head_range, high, (plot) => lowHigh(low[plot], high[plot])),
      numberColumn(W.head_room_reach, room),
      numberColumn(W.head_met, met, (plot) => fill(W.percent, { n: num(met[plot] * 100) })),
    ],
  };
}

function anchorLayer(group) {
  const [room, within] = [column(group.room), column(group.roomWithin)];
  const bounds_ = niceBounds([...room]);
  return {
    title: fill(W.title_anchor, { group: group.name, anchor: group.anchor.join(W.and) }),
    note: fill(W.note_anchor, { home: group.home, reach: inFull(group.anchorReach) }),
    classes: [{ words: W.no_room_here, tint: T.absent }, ...scale(bounds_, W.unit_homes)],
    of: (plot) => (room[plot] > 0 ? 1 + binOf(bounds_, room[plot]) : 0),
    columns: [
      numberColumn(W.head_room, room),
      numberColumn(fill(W.head_within, { reach: group.anchorReach }), within),
    ],
  };
}

const scarcestAt = (group, plot) => {
  const sign = group.scarcest[plot];
  return sign === "-" ? -1 : DIGIT[sign.charCodeAt(0)];
};

const needName = (group, at) =>
  at < 0 ? W.nothing : at === 0 ? fill(W.anchor_need, { anchor: group.anchor.join(W.and) }) : group.needs[at - 1].name;

function categories(names, rest) {
  const letters = "ABCDEFGHIJ";
  const most = T.categories.length;
  return names.slice(0, most).map((words, at) => ({
    words: at === most - 1 && names.length > most ? rest : words,
    tint: marked(T.categories[at], letters[at]),
  }));
}

function scarcestLayer(group) {
  const names = [0, ...group.needs.map((_, at) => at + 1)].map((at) => needName(group, at));
  const of = (plot) => {
    const at = scarcestAt(group, plot);
    return at < 0 ? 0 : 1 + Math.min(at, T.categories.length - 1);
  };
  const sheetOf = (plot) => group.needs[scarcestAt(group, plot) - 1];
  return {
    title: fill(W.title_scarcest, { group: group.name }),
    note: W.note_scarcest,
    classes: [{ words: W.nothing_scarce, tint: T.absent }, ...categories(names, W.other_needs)],
    of,
    doubt: (plot) => {
      const need = sheetOf(plot);
      return Boolean(need) && flagged(need.open, plot);
    },
    doubtWords: W.doubt_need,
    columns: [
      textColumn(W.head_scarcest, (plot) => needName(group, scarcestAt(group, plot))),
      {
        head: W.head_enough,
        number: true,
        text: (plot) => (sheetOf(plot) ? num(column(sheetOf(plot).enough)[plot]) : num(column(group.roomWithin)[plot])),
        order: (plot) => (sheetOf(plot) ? column(sheetOf(plot).enough)[plot] : column(group.roomWithin)[plot]),
      },
      numberColumn(W.head_homes, column(group.homes)),
    ],
  };
}

const amountsOf = new Map();
// Amount of a feature on each plot: 0 not there, NaN not known.
function amounts(at) {
  if (!amountsOf.has(at)) {
    const values = new Float64Array(PLOTS);
    let next = 0;
    for (let plot = 0; plot < PLOTS; plot += 1) {
      const sign = F[at].answers[plot];
      values[plot] = sign === "?" || sign === "~" ? NaN : sign === "-" ? 0 : F[at].amounts[next++];
    }
    amountsOf.set(at, values);
  }
  return amountsOf.get(at);
}

function amountWords(feature, amount) {
  const measure = { m2: W.square_metres, m: W.metres, count: W.pieces }[feature.measure];
  return fill(measure, { n: amount < 100 ? num(amount) : inFull(amount) });
}

function answerWords(at, plot) {
  if (F[at].words[plot]) return F[at].words[plot];
  const sign = F[at].answers[plot];
  if (sign === "?") return W.not_known;
  if (sign === "~") return W.not_seen;
  if (sign === "-") return W.not_there;
  const kind = DIGIT[sign.charCodeAt(0)];
  const parts = [amountWords(F[at], amounts(at)[plot])];
  if (kind & 1) parts.push(W.size_assumed);
  if (kind & 2) parts.push(W.not_sure);
  return parts.join(", ");
}

// For the public: the class told of each unit, in place of amounts.
function toldLayer(at) {
  const { words } = F[at];
  const values = amounts(at);
  const share = (said) => words.indexOf(said);
  const told = [...new Set(words.filter(Boolean))].sort((a, b) => values[share(a)] - values[share(b)]);
  const answer = (plot) =>
    words[plot] || (Number.isNaN(values[plot]) ? W.not_known : values[plot] === 0 ? W.not_there : W.there);
  const tint = (place) => T.steps[1 + Math.floor((4 * place) / Math.max(4, told.length))];
  const classes = [
    { words: W.not_there, tint: T.absent },
    { words: W.not_known, tint: T.unknown },
    { words: W.there, tint: T.steps[4] },
    ...told.map((said, place) => ({ words: said, tint: tint(place) })),
  ];
  return {
    title: fill(W.title_feature, { feature: F[at].name }),
    note: W.note_feature,
    classes,
    of: (plot) => classes.findIndex((one) => one.words === answer(plot)),
    columns: [textColumn(W.head_answer, answer)],
  };
}

function featureLayer(at) {
  if (DATA.public) return toldLayer(at);
  const values = amounts(at);
  const bounds_ = niceBounds([...values]);
  return {
    title: fill(W.title_feature, { feature: F[at].name }),
    note: W.note_feature,
    classes: [
      { words: W.not_there, tint: T.absent },
      { words: W.not_known, tint: T.unknown },
      ...scale(bounds_, { m2: W.unit_m2, m: W.unit_m, count: W.unit_count }[F[at].measure]),
    ],
    of: (plot) => (Number.isNaN(values[plot]) ? 1 : values[plot] === 0 ? 0 : 2 + binOf(bounds_, values[plot])),
    columns: [
      textColumn(W.head_answer, (plot) =>
        Number.isNaN(values[plot]) ? answerWords(at, plot) : values[plot] === 0 ? W.not_there : W.there,
      ),
      numberColumn(W.head_amount, values, (plot) => (values[plot] > 0 ? answerWords(at, plot) : W.none)),
    ],
  };
}

const componentsReady = new Map();
function componentsOf(group) {
  if (!componentsReady.has(group)) componentsReady.set(group, path(group.component, 1));
  return componentsReady.get(group);
}

function connectedLayer(group) {
  const most = T.categories.length - 1;
  const sizes = new Map();
  for (const number of componentsOf(group)) {
    if (number >= 0) sizes.set(number, (sizes.get(number) || 0) + 1);
  }
  const count = Math.min(most, sizes.size);
  const classes = [{ words: W.no_patch, tint: T.absent }];
  for (let at = 0; at < count; at += 1) {
    classes.push({
      words: fill(W.group_number, { n: at + 1 }),
      tint: marked(T.categories[at], String(at + 1)),
    });
  }
  if (sizes.size > most) classes.push({ words: W.smaller_groups, tint: marked(T.categories[most], "+") });
  const components = componentsOf(group);
  const number = (plot) => components[plot];
  return {
    title: fill(W.title_connected, { group: group.name }),
    note: fill(group.ground ? W.note_connected_ground : W.note_connected, { hop: inFull(group.hop) }),
    classes,
    of: (plot) => (number(plot) < 0 ? 0 : Math.min(number(plot) + 1, most + 1)),
    columns: [
      {
        head: W.head_connected,
        number: true,
        text: (plot) => (number(plot) < 0 ? W.none : String(number(plot) + 1)),
        order: (plot) => (number(plot) < 0 ? Infinity : number(plot)),
      },
      {
        head: W.head_group_size,
        number: true,
        text: (plot) => (number(plot) < 0 ? W.none : String(sizes.get(number(plot)))),
        order: (plot) => sizes.get(number(plot)) || 0,
      },
      numberColumn(W.head_homes, column(group.homes)),
    ],
  };
}

// Hungry months of a group at a plot as twelve bits.
const hungryBits = (group, plot) =>
  group.needs.reduce((bits, need) => (need.hungry ? bits | whole(need.hungry, plot) : bits), 0);
const monthsIn = (bits) => W.months.map((_, at) => at + 1).filter((month) => bits & (1 << (month - 1)));

function hungryLayer(group, month) {
  const bits = Array.from({ length: PLOTS }, (_, plot) => hungryBits(group, plot));
  const none = (plot) => group.needs.every((need) => column(need.room)[plot] === 0);
  const needed = group.needs.some((need) => need.months.includes(month));
  const columns = [
    {
      head: W.head_hungry_count,
      number: true,
      text: (plot) => String(monthsIn(bits[plot]).length),
      order: (plot) => monthsIn(bits[plot]).length,
    },
    textColumn(W.head_hungry, (plot) => months(monthsIn(bits[plot])) || W.none),
  ];
  if (month) {
    return {
      title: fill(W.title_hungry_month, { group: group.name, month: W.months[month - 1] }),
      note: W.note_hungry,
      classes: [
        { words: W.no_room, tint: T.absent },
        { words: needed ? W.month_enough : W.month_not_needed, tint: T.ample[0] },
        { words: fill(W.month_hungry, { month: W.months[month - 1] }), tint: marked(T.short[1], "!") },
      ],
      of: (plot) => (bits[plot] & (1 << (month - 1)) ? 2 : none(plot) ? 0 : 1),
      columns,
    };
  }
  return {
    title: fill(W.title_hungry, { group: group.name }),
    note: W.note_hungry,
    classes: [
      { words: W.no_room, tint: T.absent },
      { words: W.hungry_0, tint: T.ample[0] },
      { words: W.hungry_1, tint: T.short[0] },
      { words: W.hungry_2, tint: T.short[1] },
      { words: W.hungry_4, tint: T.short[2] },
    ],
    of: (plot) => {
      const count = monthsIn(bits[plot]).length;
      if (!count) return none(plot) ? 0 : 1;
      return count === 1 ? 2 : count < 4 ? 3 : 4;
    },
    columns,
  };
}

function knownLayer() {
  const known = column(P.known);
  const unknown = (plot) => F.filter((feature) => feature.answers[plot] === "?").length;
  return {
    title: W.title_known,
    note: W.note_known,
    classes: [
      { words: W.known_none, tint: T.unknown },
      { words: W.known_under_half, tint: T.steps[1] },
      { words: W.known_over_half, tint: T.steps[2] },
      { words: W.known_all, tint: T.steps[4] },
    ],
    of: (plot) => (unknown(plot) === 0 ? 3 : known[plot] === 0 ? 0 : known[plot] < 0.5 ? 1 : 2),
    columns: [
      numberColumn(W.head_known, known, (plot) => fill(W.percent, { n: num(known[plot] * 100) })),
      { head: W.head_unknown, number: true, text: (plot) => String(unknown(plot)), order: unknown },
    ],
  };
}

// All groups together: how many of them something is true for.
function countLayer(title, note, heads, counts) {
  const bounds_ = niceBounds([...counts]);
  return {
    title,
    note,
    classes: [{ words: heads.none, tint: T.absent }, ...scale(bounds_, W.unit_groups)],
    of: (plot) => (counts[plot] > 0 ? 1 + binOf(bounds_, counts[plot]) : 0),
    columns: [numberColumn(heads.head, counts, (plot) => fill(W.of_all, { n: counts[plot], all: G.length }))],
  };
}

const countGroups = (test) =>
  Float64Array.from({ length: PLOTS }, (_, plot) => G.filter((group) => test(group, plot)).length);

function allLayer(view) {
  if (view.show === "homes") {
    const heads = { none: W.all_homes_none, head: W.head_all_homes };
    return countLayer(W.title_all_homes, W.note_index, heads, countGroups((group, plot) => column(group.homes)[plot] > 0));
  }
  if (view.show === "need") {
    const heads = { none: W.all_enough_none, head: W.head_all_enough };
    const test = (group, plot) =>
      column(group.roomWithin)[plot] > 0 && group.needs.every((need) => column(need.enough)[plot] >= column(need.room)[plot]);
    return countLayer(W.title_all_enough, W.note_all_enough, heads, countGroups(test));
  }
  if (view.show === "connected") {
    const heads = { none: W.no_patch_any, head: W.head_all_patch };
    return countLayer(W.title_all_patch, W.note_all_patch, heads, countGroups((group, plot) => flagged(group.patch, plot)));
  }
  if (view.show === "hungry") {
    const wanted = view.month ? 1 << (view.month - 1) : 4095;
    const heads = { none: W.all_hungry_none, head: W.head_all_hungry };
    const title = view.month ? fill(W.title_all_hungry_month, { month: W.months[view.month - 1] }) : W.title_all_hungry;
    const layer = countLayer(title, W.note_hungry, heads, countGroups((group, plot) => hungryBits(group, plot) & wanted));
    const tints = [T.short[0], T.short[1], T.short[2]];
    layer.classes.slice(1).forEach((one, at) => {
      one.tint = tints[Math.min(at, 2)];
    });
    if (layer.classes.length > 4) layer.classes[4].tint = marked(T.short[2], "!");
    return layer;
  }
  return allScarcest();
}

// The resource that is scarcest for most groups at each plot.
function allScarcest() {
  const scarce = Array.from({ length: PLOTS }, (_, plot) => {
    const votes = new Map();
    for (const group of G) {
      const at = scarcestAt(group, plot);
      if (at < 0) continue;
      const resource = at === 0 ? group.anchorAt[0] : group.needs[at - 1].resource;
      votes.set(resource, (votes.get(resource) || 0) + 1);
    }
    return [...votes].sort((a, b) => b[1] - a[1] || a[0] - b[0])[0] || [-1, 0];
  });
  const totals = new Map();
  for (const [resource] of scarce) totals.set(resource, (totals.get(resource) || 0) + 1);
  const order = [...totals.keys()].filter((at) => at >= 0).sort((a, b) => totals.get(b) - totals.get(a) || a - b);
  const name = (at) => (at < 0 ? W.nothing : DATA.resources[at][0]);
  return {
    title: W.title_all_scarcest,
    note: W.note_all_scarcest,
    classes: [
      { words: W.nothing_scarce, tint: T.absent },
      ...categories(order.map(name), W.other_needs),
    ],
    of: (plot) => Math.min(order.indexOf(scarce[plot][0]), T.categories.length - 1) + 1,
    columns: [
      textColumn(W.head_scarcest, (plot) => name(scarce[plot][0])),
      {
        head: W.head_votes,
        number: true,
        text: (plot) => fill(W.of_all, { n: scarce[plot][1], all: G.length }),
        order: (plot) => scarce[plot][1],
      },
    ],
  };
}

// Where all plots are alike a sentence says more than a map of one colour: the gardens stay.
const layersMade = new Map();
function layerOf(view) {
  const { group, show, need, feature, month } = view;
  const key = [group, show, need, feature, month, draws(view, "cover")].join("|");
  if (!layersMade.has(key)) layersMade.set(key, layerMade(view));
  return layersMade.get(key);
}

function layerMade(view) {
  const made = layerAsked(view);
  const at = Uint8Array.from({ length: PLOTS }, (_, plot) => made.of(plot)); // each asked once
  made.of = (plot) => at[plot];
  const first = at[0];
  const alike = PLOTS > 1 && at.every((one) => one === first);
  if (alike && !made.garden && !draws(view, "cover")) {
    made.alike = fill(W.all_alike, { words: made.classes[first].words });
  }
  return made;
}

function layerAsked(view) {
  if (view.show === "gardens" && !draws(view, "cover")) return gardenLayer();
  if (draws(view, "cover")) return coverLayer(G[view.group]);
  if (view.show === "feature") return featureLayer(view.feature);
  if (view.show === "known") return knownLayer();
  if (view.show === "sun") return sunLayer(view.month);
  if (view.group === ALL) return allLayer(view);
  const group = G[view.group];
  if (view.show === "homes") return homesLayer(group);
  if (view.show === "need") return view.need === 0 ? anchorLayer(group) : needLayer(group, view.need - 1);
  if (view.show === "scarcest") return scarcestLayer(group);
  if (view.show === "connected") return connectedLayer(group);
  return hungryLayer(group, view.month);
}
