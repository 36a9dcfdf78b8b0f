// One plot: its questions, part by part. The rows are made once and filled in anew for each plot.

const ANSWERS = ["there", "not there", "cannot see"];
const rows = new Map();
let current = -1;
let household = false;

const said = (feature) => record.state.said.get(key(current, feature));

function answer(feature, changes) {
  const now = said(feature);
  const kept = now || { amount: null, sure: "sure", note: "", photo: "" };
  const next = { ...kept, plot: current, feature, from: byId("plot-from").value, ...changes };
  if (next.answer !== "there") next.amount = null;
  const step = add({ way: "set", said: next });
  say(words(step));
  refreshPlot(feature);
}

function press(feature, chosen) {
  const now = said(feature);
  if (now && now.answer === chosen) {
    say(phrase("undone", { what: words({ way: "set", said: now }) }));
    add({ way: "clear", plot: current, feature });
    refreshPlot(feature);
    return;
  }
  answer(feature, { answer: chosen, sure: "sure" });
}

// Steps of a size that suits the amount: 1 up to 10, 5 up to 50, 10 beyond.
function stepped(amount, way) {
  const now = amount || 0;
  const edge = way > 0 ? now : now - 1e-9;
  const step = edge < 10 ? 1 : edge < 50 ? 5 : 10;
  const next = Math.round((now + way * step) * 10) / 10;
  return next > 0 ? next : null;
}

// An amount as it is typed: with the language's decimal sign, and no other.
const amountWords = (amount) => amount.toLocaleString(LOCALE, { maximumFractionDigits: 6, useGrouping: false });

function typed(feature, input) {
  const text = input.value.trim().replace(",", ".");
  const amount = text === "" ? null : Number(text);
  const wrong = amount !== null && !(amount > 0 && Number.isFinite(amount));
  input.setAttribute("aria-invalid", String(wrong));
  if (wrong) {
    say(phrase("amount_wrong", { feature: FEATURES.get(feature).name }));
    return;
  }
  const now = said(feature);
  if (now && now.answer === "there" && now.amount !== amount) answer(feature, { answer: "there", amount });
}

function wrote(feature, field, input) {
  const now = said(feature);
  if (!now) return;
  let text = input.value.trim();
  if (field === "photo") {
    // Names of photographs that the round holds itself stay behind what was written.
    const taken = photosOf(current, feature).map(({ id }) => id);
    text = [text, ...now.photo.split("; ").filter((name) => taken.includes(name))].filter(Boolean).join("; ");
  }
  if (now[field] !== text) answer(feature, { answer: now.answer, [field]: text });
}

function row(feature) {
  const name = el("span", { class: "name", id: `q-${feature.key}` }, feature.name);
  const hint = el("span", { class: "hint" }, feature.hint);
  const buttons = ANSWERS.map((one) => {
    const choice = button(W[one], { "aria-pressed": "false", "data-answer": one });
    choice.addEventListener("click", () => press(feature.key, one));
    return choice;
  });
  const less = button("−", { class: "step", "aria-label": phrase("less", { feature: feature.name }) });
  const more = button("+", { class: "step", "aria-label": phrase("more", { feature: feature.name }) });
  const amount = el("input", {
    inputmode: "decimal",
    autocomplete: "off",
    "aria-label": phrase("amount", { feature: feature.name, unit: feature.unit }),
  });
  less.addEventListener("click", () => answer(feature.key, { answer: "there", amount: stepped(said(feature.key).amount, -1) }));
  more.addEventListener("click", () => answer(feature.key, { answer: "there", amount: stepped(said(feature.key).amount, 1) }));
  amount.addEventListener("change", () => typed(feature.key, amount));
  const unsure = button(W.not_sure, { "aria-pressed": "false" });
  unsure.addEventListener("click", () => {
    answer(feature.key, { answer: "there", sure: said(feature.key).sure === "sure" ? "not sure" : "sure" });
  });
  const draw = button(W.draw);
  draw.addEventListener("click", () => openDraw(current, feature));
  const open = button(W.note_photo, { "aria-expanded": "false" });
  const note = el("input", { type: "text", autocomplete: "off", maxlength: "300" });
  const photo = el("input", { type: "text", autocomplete: "off", maxlength: "120" });
  const shot = el("input", { type: "file", accept: "image/*", capture: "environment" });
  shot.addEventListener("change", () => takePhoto(feature.key, shot));
  const shots = el("ul", { class: "drawings", hidden: true });
  note.addEventListener("change", () => wrote(feature.key, "note", note));
  photo.addEventListener("change", () => wrote(feature.key, "photo", photo));
  const extra = el(
    "div",
    { class: "extra", hidden: true },
    el("label", {}, W.note, note),
    el("label", {}, W.photo_take, shot),
    el("label", {}, W.photo, photo),
  );
  open.addEventListener("click", () => {
    extra.hidden = !extra.hidden;
    open.setAttribute("aria-expanded", String(!extra.hidden));
    if (!extra.hidden) note.focus();
  });
  const drawings = el("ul", { class: "drawings", hidden: true });
  const detail = el(
    "div",
    { class: "detail", hidden: true },
    el("div", { class: "much" }, less, amount, more, el("span", { class: "unit" }, feature.unit)),
    unsure,
    draw,
    open,
    extra,
    shots,
    drawings,
  );
  const item = el(
    "li",
    { class: "question" },
    el("p", { class: "asked" }, name, hint),
    el("div", { class: "answers", role: "group", "aria-labelledby": `q-${feature.key}` }, ...buttons),
    detail,
  );
  rows.set(feature.key, { item, buttons, amount, less, unsure, open, extra, note, photo, detail, drawings, shots });
  return item;
}

function rest(part, chosen) {
  const left = part.features.filter((one) => (one.street || household) && !said(one.key));
  if (!left.length) return say(W.none_left);
  const from = byId("plot-from").value;
  const many = left.map((one) => ({
    plot: current, feature: one.key, answer: chosen, amount: null, sure: "sure", from, note: "", photo: "",
  }));
  say(words(add({ way: "many", many })));
  return refreshPlot();
}

function buildPlot() {
  DATA.parts.forEach((part, at) => {
    const heading = el("h2", { id: `part-${at}` }, part.name);
    const list = el("ul", { class: "questions", "aria-labelledby": `part-${at}` }, ...part.features.map(row));
    const first = at === 0 ? "_first" : "";
    const ends = ["not there", "cannot see"].map((one) => {
      const label = phrase((one === "not there" ? "rest_none" : "rest_unseen") + first, { part: part.name });
      return button(label, {}, () => rest(part, one));
    });
    byId(at === 0 ? "first" : "questions").append(
      el("section", { class: "part", "data-part": at, "aria-labelledby": `part-${at}` }, heading, list, el("div", { class: "rest" }, ...ends)),
    );
  });
  for (const from of DATA.seenFrom) byId("plot-from").append(el("option", { value: from }, W[`from_${from}`] || from));
  for (const one of ["yes", "no"]) {
    byId(`consent-${one}`).addEventListener("click", () => {
      const now = record.state.consent.get(current);
      const consent = now && now.consent === one ? null : one;
      say(words(add({ way: "consent", plot: current, consent })));
      refreshPlot();
    });
  }
  byId("household").addEventListener("click", () => {
    household = !household;
    if (household) byId("more-part").open = true;
    refreshPlot();
  });
  byId("plot-from").addEventListener("change", () => {
    if (byId("plot-from").value !== "street") household = true;
    refreshPlot();
  });
}

function shapeItem(shape, at) {
  const off = button(phrase("drawing_off", { n: at + 1 }));
  off.addEventListener("click", () => {
    say(words(add({ way: "undraw", id: shape.id, plot: current, feature: shape.feature })));
    refreshPlot();
  });
  return el("li", {}, phrase("drawing", { n: at + 1, size: sizeWords(shape.geometry) }), off);
}

function refreshRow(feature, one, shapes) {
  const now = said(feature);
  const drawn = shapes.filter((shape) => shape.feature === feature);
  hide(one.item, !(FEATURES.get(feature).street || household || now));
  for (const button of one.buttons) {
    mark(button, "aria-pressed", String(Boolean(now && now.answer === button.dataset.answer)));
  }
  const there = Boolean(now && now.answer === "there");
  hide(one.detail, !there);
  if (!there) return;
  const amount = now.amount === null ? "" : amountWords(now.amount);
  if (one.amount.value !== amount) one.amount.value = amount;
  mark(one.amount, "aria-invalid", "false");
  one.less.disabled = !now.amount;
  mark(one.unsure, "aria-pressed", String(now.sure !== "sure"));
  if (document.activeElement !== one.note) one.note.value = now.note;
  const taken = photosOf(current, feature).filter(({ id }) => now.photo.split("; ").includes(id));
  const names = now.photo.split("; ").filter((name) => !taken.some(({ id }) => id === name)).join("; ");
  if (document.activeElement !== one.photo) one.photo.value = names;
  hide(one.shots, !taken.length);
  one.shots.replaceChildren(...taken.map(photoItem));
  hide(one.drawings, !drawn.length);
  if (drawn.length || one.drawings.childElementCount) {
    one.drawings.replaceChildren(...drawn.map(shapeItem));
  }
}

// Fill in the questions anew; `only` names the one that has changed.
function refreshPlot(only = null) {
  mark(byId("household"), "aria-pressed", String(household));
  const chosen = record.state.consent.get(current);
  for (const one of ["yes", "no"]) {
    mark(byId(`consent-${one}`), "aria-pressed", String(Boolean(chosen && chosen.consent === one)));
  }
  const shapes = [...record.state.drawn.values()].filter((one) => one.plot === current);
  for (const [feature, one] of rows) if (!only || only === feature) refreshRow(feature, one, shapes);
  if (!only) {
    DATA.parts.forEach((part, at) => {
      const none = part.features.every(({ key: one }) => rows.get(one).item.hidden);
      hide(at === 0 ? byId("first") : byId("questions").children[at - 1], none);
    });
  }
  const more = DATA.parts.slice(1).flatMap((part) => part.features).filter(({ key: one }) => !rows.get(one).item.hidden);
  const answered = more.filter(({ key: one }) => said(one)).length;
  write(byId("more-words"), phrase("more_questions", { n: more.length, answered }));
  hide(byId("more-part"), !more.length);
  refreshDock();
}

function openPlot(plot) {
  current = plot;
  byId("plot-from").value = record.state.from;
  household = record.state.from !== "street";
  byId("plot-name").textContent = plotName(plot);
  byId("plot-kind").textContent = `${DATA.kinds[P.kind[plot]]} · ${DATA.stretches[P.stretch[plot]].name}`;
  for (const one of rows.values()) {
    hide(one.extra, true);
    mark(one.open, "aria-expanded", "false");
  }
  if (byId("round").open) byId("round").open = false;
  byId("household-part").open = household;
  byId("more-part").open = household;
  refreshPlot();
  show("plot");
}
