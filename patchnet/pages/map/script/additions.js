// What could be added to a plot: a form on its card that answers at once, from what was worked out
// beforehand. What is said stays on the page.

const ADDITIONS = DATA.additions;
const MOST_ADDITIONS = 3;
const SAID = { light: "", tenure: "", children: "", pots: "", free: "", hours: "", money: "" };
const SAID_NUMBERS = ["free", "hours", "money"];
const ADDITIONS_SPACE = ADDITIONS
  ? Object.fromEntries(["ground", "hard", "planted", "taken_up"].map((key) => [key, numbers(ADDITIONS[key])]))
  : null;

// One line of the data (the Python side explains it): single things, and pairs of them.
function additionsAt(plot) {
  const [things, pairs = ""] = ADDITIONS.plots[plot].split(".");
  const amounts_ = numbers(things);
  const singles = [];
  for (let at = 0; at < amounts_.length; ) {
    const head = whole(things, at);
    const feature = head >> 2;
    const kind = ADDITIONS.kinds[feature];
    const served = [1, 2, 3].map((step) => whole(things, at + step)).filter((group) => group < 4095);
    at += 4;
    const sizes = [];
    for (let size = 0; size < (head & 3); size += 1, at += 3) {
      const [amount, linked, worth] = amounts_.slice(at, at + 3);
      sizes.push({ amount, linked, worth, ground: amount * kind.ground, length: amount * kind.length });
    }
    singles.push({ feature, kind, sizes, groups: served.map((group) => ADDITIONS.groups[group]) });
  }
  const parts = numbers(pairs);
  const together = [];
  for (let at = 0; at < parts.length; at += 5) {
    const members = [whole(pairs, at), whole(pairs, at + 1)].map((place_) => singles[place_]);
    together.push({ members, ground: parts[at + 2], linked: parts[at + 3] });
  }
  return { singles, pairs: together };
}

// A number as people write it; null where nothing is said, NaN where it is no number.
function saidNumber(name) {
  const words = SAID[name].trim().replace(",", ".");
  if (!words) return null;
  return /^\d*\.?\d+$|^\d+\.$/.test(words) ? Number(words) : NaN;
}

const SUN_LIGHTS = ["shade", "shade", "part", "sun", "sun"];
function workedOutLight(plot) {
  if (!SUN) return "";
  // Not known, or not surely: buildings of unknown height may make it another class.
  const [most, least] = [SUN_HOURS, SUN_LEAST].map((hours) => hours[SUN.midsummer - 1][plot]);
  if (Number.isNaN(most) || SUN_LIGHTS[sunBin(most)] !== SUN_LIGHTS[sunBin(least)]) return "";
  return SUN_LIGHTS[sunBin(most)];
}

function factsAt(plot) {
  const facts = { ...SAID, light: SAID.light || workedOutLight(plot), soil: ADDITIONS.soil[plot] === "1" };
  for (const name of SAID_NUMBERS) {
    const value = saidNumber(name);
    facts[name] = value === null || Number.isNaN(value) ? Infinity : value;
  }
  for (const [key, values] of Object.entries(ADDITIONS_SPACE)) facts[key] = values[plot];
  return facts;
}

// Why a thing does not suit what was said, whatever its size; "" where nothing speaks against it.
function whyNot(kind, facts) {
  if (facts.children === "yes" && kind.water) return "children";
  if (facts.light && !kind.lights.includes(facts.light)) return "light";
  if (facts.tenure === "rent" && kind.own) return "tenure";
  if (facts.pots === "yes" && kind.soil) return "pots";
  if (kind.hours > facts.hours) return "hours";
  if (kind.money > facts.money) return "money";
  return "";
}

function hasRoom(kind, ground, facts) {
  if (facts.free === Infinity) return true;
  if (kind.place === "ground") return ground <= facts.free;
  if (kind.place === "under") return ground <= facts.free + facts.planted;
  if (kind.place !== "standing") return true;
  const inPots = !facts.soil || facts.pots === "yes";
  return ground <= (inPots ? facts.free : Math.min(facts.free, facts.ground) + facts.hard);
}

// Bulbs take no ground of their own, but as much room as they fill.
const roomOf = (kind, size) => (kind.place === "under" ? size.amount : size.ground);

function suiting(plot) {
  const facts = factsAt(plot);
  const { singles, pairs } = additionsAt(plot);
  const wins = (size) => size.linked >= ADDITIONS.least && size.worth > 0;
  const fitting = [];
  const left = {};
  for (const one of singles) {
    const size = one.sizes.find((each) => hasRoom(one.kind, roomOf(one.kind, each), facts));
    const why = whyNot(one.kind, facts) || (size && (wins(size) || !wins(one.sizes[0])) ? "" : "ground");
    if (why && wins(one.sizes[0])) left[why] = (left[why] || 0) + 1;
    if (!why && wins(size)) fitting.push({ ...one, size });
  }
  fitting.sort((one, other) => other.size.worth - one.size.worth);
  const asked = (one) => one.kind.water && !facts.children;
  const sum = (members, key) => members.reduce((total, one) => total + one.kind[key], 0);
  const together = pairs.filter(
    ({ members, ground }) =>
      members.every(
        (one) => !asked(one) && !whyNot(one.kind, facts) && hasRoom(one.kind, roomOf(one.kind, one.sizes[0]), facts),
      ) &&
      ground <= facts.free &&
      sum(members, "hours") <= facts.hours &&
      sum(members, "money") <= facts.money,
  );
  return { listed: fitting.filter((one) => !asked(one)), ponds: fitting.filter(asked), together, left, facts };
}

const additionName = (one) => F[one.feature].name;
function additionTitle(one) {
  const n = num(one.size.amount);
  const measure = F[one.feature].measure;
  if (measure === "count" && n === "1") return additionName(one);
  const words = { m2: W.square_metres, m: W.metres, count: W.addition_many }[measure];
  return fill(W.addition_amount, { name: additionName(one), amount: fill(words, { n }) });
}

const cautionsOf = (one) => F[one.feature].cautions.filter((key) => key !== "none").map((key) => DATA.cautions[key]);
function cautionList(words) {
  const each = [...new Set(words)].map((one) => el("li", {}, sentence(one)));
  return each.length ? el("ul", { class: "cautions" }, ...each) : null;
}

function additionItem(one, facts) {
  const { kind, size } = one;
  const parts = [kind.where];
  if (size.ground > 0) parts.push(fill(W.addition_ground, { n: num(size.ground) }));
  if (size.length > 0 && kind.place !== "ground") parts.push(fill(W.addition_length, { n: num(size.length) }));
  const served = one.groups.length ? fill(W.addition_serves, { groups: listed(one.groups.map((name) => inSentence(name))) }) + " " : "";
  const consent = kind.own && !facts.tenure ? W.addition_own : facts.tenure === "own" ? "" : kind.ask;
  return el(
    "li",
    {},
    el("h4", {}, additionTitle(one)),
    el("p", {}, served, el("strong", {}, fill(W.addition_wins, { won: num(size.linked) }))),
    el("p", { class: "under" }, sentence(upper([...parts, kind.takes].join("; ")))),
    cautionList([consent, ...cautionsOf(one)].filter(Boolean)),
  );
}

function additionsFound(plot) {
  const { listed: all, ponds, together, left, facts } = suiting(plot);
  const best = all.slice(0, MOST_ADDITIONS);
  const rest = all.length - best.length;
  const pond = [...ponds, ...best].find((one) => F[one.feature].open);
  const reasons = Object.entries(left).map(([why, n]) => fill(W.additions_reasons[why], { n }));
  const saidAny = Object.values(SAID).some(Boolean);
  const known = facts.ground + (facts.soil ? 0 : facts.hard);
  const empty = ponds.length ? null : el("p", {}, saidAny ? W.additions_empty : W.additions_nothing);
  return [
    best.length ? el("p", { class: "under" }, W.additions_order) : empty,
    best.length ? el("ol", { class: "additions" }, ...best.map((one) => additionItem(one, facts))) : null,
    ponds.length ? el("h4", {}, W.additions_pond_title) : null,
    ponds.length
      ? el("p", { class: "pond-question" }, fill(W.additions_pond, { things: listed(ponds.map((one, at) => (at ? inSentence(additionName(one)) : additionName(one)))) }))
      : null,
    pond ? oneMore(pond.feature, givenTo(plot, neighbours(plot, NEAR_M))) : null,
    cautionList(ponds.flatMap(cautionsOf)),
    together.length ? el("h4", {}, W.additions_pair_title) : null,
    together.length
      ? el(
          "ul",
          {},
          ...together.map(({ members, linked }) => {
            const apart = members.reduce((total, one) => total + one.sizes[0].linked, 0);
            const words = { one: additionName(members[0]), other: inSentence(additionName(members[1])), together: num(linked), apart: num(apart) };
            return el("li", {}, fill(W.additions_pair, words), cautionList(members.flatMap(cautionsOf)));
          }),
        )
      : null,
    rest > 0 ? el("p", { class: "under" }, rest === 1 ? W.additions_more_one : fill(W.additions_more, { n: rest })) : null,
    reasons.length ? el("p", { class: "under" }, fill(W.additions_left_out, { reasons: listed(reasons) })) : null,
    facts.taken_up > 0 && facts.pots !== "yes" ? el("p", { class: "under" }, fill(W.additions_taken_up, { n: num(facts.taken_up) })) : null,
    facts.free < Infinity && facts.free > known ? el("p", { class: "under" }, fill(W.additions_ground_more, { n: num(known) })) : null,
  ].filter(Boolean);
}

// ---- the form ----

function saidWords() {
  const words = [];
  if (SAID.light) words.push(inSentence(W.said_lights[SAID.light]));
  if (SAID.tenure) words.push(inSentence(W.said_tenures[SAID.tenure]));
  if (SAID.children) words.push(SAID.children === "yes" ? W.said_children_yes : W.said_children_no);
  if (SAID.pots === "yes") words.push(W.said_pots_yes);
  for (const name of SAID_NUMBERS) {
    const value = saidNumber(name);
    if (value !== null && !Number.isNaN(value)) {
      words.push(fill(W.said_amounts[name], { n: value, unit: ADDITIONS.unit }));
    }
  }
  return words.length ? fill(W.said_line, { answers: words.join("; ") }) : "";
}

function writeAdditions(plot, told) {
  byId("additions-said").textContent = saidWords();
  byId("additions-found").replaceChildren(...additionsFound(plot));
  for (const name of SAID_NUMBERS) {
    const wrong = Number.isNaN(saidNumber(name));
    byId("said-" + name).setAttribute("aria-invalid", String(wrong));
    byId("said-" + name + "-wrong").textContent = wrong ? W.said_no_number : "";
  }
  if (!told) return;
  const titles = [...byId("additions-found").querySelectorAll(".additions h4")].map((one) => one.textContent);
  if (!titles.length) say(W.additions_empty);
  else say(fill(titles.length === 1 ? W.said_additions_one : W.said_additions, { n: titles.length, things: titles.join("; ") }));
}

function saidChoice(plot, name, words, choices, unsaid, wide) {
  const id = "said-" + name;
  const select = el(
    "select",
    { id, autocomplete: "off" },
    el("option", { value: "" }, unsaid || W.said_nothing),
    ...Object.entries(choices).map(([value, option]) => el("option", { value }, option)),
  );
  select.value = SAID[name];
  select.addEventListener("change", () => {
    SAID[name] = select.value;
    writeAdditions(plot, true);
  });
  return el("div", { class: wide ? "said-field wide" : "said-field" }, el("label", { for: id }, words), select);
}

function saidAmount(plot, name, words) {
  const id = "said-" + name;
  const input = el("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", "aria-describedby": id + "-wrong" });
  input.value = SAID[name];
  input.addEventListener("input", () => {
    SAID[name] = input.value;
    writeAdditions(plot, false);
  });
  input.addEventListener("change", () => writeAdditions(plot, true));
  return el("div", { class: "said-field" }, el("label", { for: id }, words), input, el("p", { class: "wrong", id: id + "-wrong" }));
}

function additionsForm(plot) {
  const light = workedOutLight(plot);
  const unsaid = light ? fill(W.said_worked_out, { light: W.said_lights[light] }) : "";
  return el(
    "fieldset",
    { class: "said" },
    el("legend", {}, W.additions_form),
    el("p", { class: "under" }, W.additions_kept),
    el(
      "div",
      { class: "said-fields" },
      saidChoice(plot, "children", W.said_children, W.said_yes_no, "", true),
      saidChoice(plot, "light", W.said_light, W.said_lights, unsaid),
      saidChoice(plot, "tenure", W.said_tenure, W.said_tenures),
      saidChoice(plot, "pots", W.said_pots, W.said_yes_no),
      saidAmount(plot, "free", W.said_free),
      saidAmount(plot, "hours", W.said_hours),
      saidAmount(plot, "money", fill(W.said_money, { unit: ADDITIONS.unit })),
    ),
    button(W.additions_clear, { class: "small" }, () => {
      for (const name of Object.keys(SAID)) {
        SAID[name] = "";
        byId("said-" + name).value = "";
      }
      writeAdditions(plot, true);
    }),
  );
}

// The whole section, ready for the sheet; filled once it stands there. Nothing without data.
function additionsOf(plot) {
  if (!ADDITIONS) return [];
  queueMicrotask(() => writeAdditions(plot, false));
  return [
    el("h3", {}, W.card_additions),
    additionsForm(plot),
    el("p", { id: "additions-said" }),
    el("div", { id: "additions-found" }),
    el("p", { class: "under" }, W.additions_sets + " " + W.additions_defer),
  ];
}
