// The round: a list of steps that is only ever added to. Undo and putting back are steps too, so
// that closing the page in the middle changes nothing. What stands now follows from the list.

const record = { round: null, log: [], steps: [], undone: [], state: null, kept: "none" };

const blank = () => ({
  said: new Map(),
  drawn: new Map(),
  consent: new Map(),
  photos: new Map(),
  missing: new Map(),
  done: new Set(),
  answers: new Map(),
  surveyor: "",
  from: DATA.seenFrom[0],
});
record.state = blank();
const key = (plot, feature) => `${plot}\t${feature}`;

function put1(state, said) {
  const at = key(said.plot, said.feature);
  if (!state.said.has(at)) state.answers.set(said.plot, (state.answers.get(said.plot) || 0) + 1);
  state.said.set(at, said);
}

const WAYS = {
  set: (state, step) => put1(state, step.said),
  many: (state, step) => step.many.forEach((said) => put1(state, said)),
  clear: (state, step) => {
    if (state.said.delete(key(step.plot, step.feature))) {
      state.answers.set(step.plot, state.answers.get(step.plot) - 1);
    }
  },
  draw: (state, step) => {
    state.drawn.set(step.id, step);
    if (step.said) put1(state, step.said);
  },
  photo: (state, step) => {
    state.photos.set(step.id, step);
    put1(state, step.said);
  },
  unphoto: (state, step) => {
    state.photos.delete(step.id);
    put1(state, step.said);
  },
  missing: (state, step) => state.missing.set(step.id, step),
  found: (state, step) => state.missing.delete(step.id),
  undraw: (state, step) => state.drawn.delete(step.id),
  consent: (state, step) => {
    if (step.consent) state.consent.set(step.plot, step);
    else state.consent.delete(step.plot);
  },
  done: (state, step) => (step.is ? state.done.add(step.plot) : state.done.delete(step.plot)),
  who: (state, step) => {
    state.surveyor = step.surveyor;
  },
  from: (state, step) => {
    state.from = step.from;
  },
};

function work(step) {
  if (step.way === "undo") {
    const last = record.steps.pop();
    if (last) record.undone.push(last);
    return true;
  }
  if (step.way === "redo") {
    const last = record.undone.pop();
    if (last) record.steps.push(last);
    return true;
  }
  if (!WAYS[step.way]) return false;
  record.undone = [];
  record.steps.push(step);
  return false;
}

function rebuild() {
  record.state = blank();
  for (const step of record.steps) WAYS[step.way](record.state, step);
}

function replay(log) {
  record.log = log;
  record.steps = [];
  record.undone = [];
  for (const step of log) work(step);
  rebuild();
}

let saving = Promise.resolve();

// Add a step: it counts at once, and is kept as soon as the device has written it.
function add(step) {
  const full = { ...step, when: iso(new Date()) };
  for (const said of [full.said, ...(full.many || [])]) if (said) said.when = full.when;
  const n = record.log.length;
  record.log.push(full);
  if (work(full)) rebuild();
  else WAYS[full.way](record.state, full);
  const round = record.round.id;
  saving = saving
    .then(() => store.add(round, n, full))
    .catch(() => mended(round, full));
  showKept("writing");
  saving.then(() => showKept(store.kind));
  return full;
}

// A step was refused: another tab may have gone on with the round, or the device is full.
async function mended(round, step) {
  try {
    const entries = await store.entries(round);
    if (round !== record.round.id || entries.length < record.log.length) throw new Error("full");
    await store.add(round, entries.length, step);
    replay([...entries, step]);
    say(phrase("other_tab"));
    refresh();
  } catch {
    store.kind = "none";
  }
}

function undo() {
  const last = record.steps.at(-1);
  if (!last) return;
  add({ way: "undo" });
  say(phrase("undone", { what: words(last) }));
}

function redo() {
  const last = record.undone.at(-1);
  if (!last) return;
  add({ way: "redo" });
  say(phrase("redone", { what: words(last) }));
}

// A step in words.
function words(step) {
  if (step.number) return phrase(`step_${step.way}`, { number: step.number });
  const gaps = { plot: step.said || step.many ? P.id[(step.said || step.many[0]).plot] : P.id[step.plot] };
  const one = step.said && FEATURES.get(step.said.feature);
  if (step.way === "set") {
    const amount = step.said.amount === null ? "" : ` ${amountWords(step.said.amount)} ${one.unit}`;
    const sure = step.said.sure === "sure" ? "" : `, ${W.not_sure}`;
    return phrase("step_set", { ...gaps, feature: one.name, answer: W[step.said.answer] + amount + sure });
  }
  if (step.way === "many") {
    return phrase("step_many", { ...gaps, n: step.many.length, answer: W[step.many[0].answer] });
  }
  if (step.way === "consent") {
    return phrase("step_consent", { ...gaps, consent: W[`consent_${step.consent || "none"}`] });
  }
  if (step.way === "done") return phrase(step.is ? "step_done" : "step_not_done", gaps);
  if (step.way === "who" || step.way === "from") return W[`step_${step.way}`];
  return phrase(`step_${step.way}`, { ...gaps, feature: FEATURES.get(step.feature).name });
}

// The hand-over file; photographs come last, so that a file that is cut off has the answers.
function handOver(photos = true) {
  const { state, round } = record;
  const statements = [...state.said.values()]
    .sort((a, b) => (a.when === b.when ? a.plot - b.plot : a.when < b.when ? -1 : 1))
    .map(({ plot, from, ...said }) => ({
      plot: P.id[plot],
      ...said,
      ...(from === state.from ? {} : { seen_from: from }),
    }));
  return {
    patchnet_return: 1,
    id: round.id,
    street: DATA.street,
    surveyor: state.surveyor,
    seen_from: state.from,
    began: round.began,
    saved: iso(new Date()),
    statements,
    drawn: [...state.drawn.values()].map(({ plot, feature, when, geometry }) => ({
      plot: P.id[plot],
      feature,
      when,
      geometry,
    })),
    consent: [...state.consent.values()].map(({ plot, consent, when }) => ({
      plot: P.id[plot],
      consent,
      when,
    })),
    ...(state.missing.size
      ? { missing: [...state.missing.values()].map(({ number, note, point, when }) => ({ number, note, point, when })) }
      : {}),
    ...(photos && state.photos.size ? { photos: photosToHand() } : {}),
  };
}

// Steps that make a round out of a hand-over file; what this page does not know is left out.
function stepsOf(file) {
  const plotAt = new Map(P.id.map((id, at) => [id, at]));
  const known = (row) => plotAt.has(row.plot) && (!row.feature || FEATURES.has(row.feature));
  const text = (value) => (typeof value === "string" ? value : "");
  const when = (row) => text(row.when) || text(file.saved);
  const from = DATA.seenFrom.includes(file.seen_from) ? file.seen_from : DATA.seenFrom[0];
  const steps = [
    { way: "who", surveyor: text(file.surveyor), when: text(file.began) },
    { way: "from", from, when: text(file.began) },
  ];
  const rows = (list) => (Array.isArray(list) ? list.filter((row) => row && known(row)) : []);
  for (const row of rows(file.statements)) {
    if (!["there", "not there", "cannot see"].includes(row.answer) || !row.feature) continue;
    const said = {
      plot: plotAt.get(row.plot),
      feature: row.feature,
      answer: row.answer,
      amount: Number.isFinite(row.amount) && row.amount > 0 ? row.amount : null,
      sure: row.sure === "not sure" ? "not sure" : "sure",
      from: DATA.seenFrom.includes(row.seen_from) ? row.seen_from : from,
      note: text(row.note),
      photo: text(row.photo),
      when: when(row),
    };
    steps.push({ way: "set", said, when: said.when });
  }
  for (const row of rows(file.drawn)) {
    if (!row.geometry || !["Point", "LineString", "Polygon"].includes(row.geometry.type)) continue;
    steps.push({
      way: "draw",
      id: newId(),
      plot: plotAt.get(row.plot),
      feature: row.feature,
      geometry: row.geometry,
      when: when(row),
    });
  }
  for (const row of rows(file.photos)) {
    const now = steps.findLast((step) => step.way === "set" && step.said.plot === plotAt.get(row.plot) && step.said.feature === row.feature);
    if (!now || !text(row.data) || !text(row.name)) continue;
    steps.push({
      way: "photo", id: row.name, plot: now.said.plot, feature: row.feature, data: row.data, said: now.said, when: when(row),
    });
  }
  for (const row of Array.isArray(file.missing) ? file.missing : []) {
    if (!row || !text(row.number) || !Array.isArray(row.point) || !row.point.every(Number.isFinite)) continue;
    steps.push({
      way: "missing", id: newId(), number: row.number, note: text(row.note), point: row.point.slice(0, 2), when: when(row),
    });
  }
  for (const row of rows(file.consent)) {
    if (row.consent !== "yes" && row.consent !== "no") continue;
    steps.push({ way: "consent", plot: plotAt.get(row.plot), consent: row.consent, when: when(row) });
  }
  return steps;
}
