// One plot: its questions, part by part. The rows are made once and filled in anew for each plot.

const ANSWERS = ["there", "not there", "cannot see"];
const rows = new Map();
let current = -1;
let household = false;

const said = (feature) => record.state.said.get(key(current, feature));

function answer(feature, changes) {
  const now = said(feature);
  const kept = now || { amount: null, sure: "sure", note: "", photo: "" };
  const next = { ...kept, plot: current, feature, from: $("plot-from").value, ...changes };
  if (next.answer !== "there") next.amount = null;
  const step = add({ way: "set", said: next });
  tell(words(step));
  refreshPlot(feature);
}

function press(feature, chosen) {
  const now = said(feature);
  if (now && now.answer === chosen) {
    tell(say("undone", { what: words({ way: "set", said: now }) }));
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

function typed(feature, input) {
  const text = input.value.trim().replace(",", ".");
  const amount = text === "" ? null : Number(text);
  const wrong = amount !== null && !(amount > 0 && Number.isFinite(amount));
  input.setAttribute("aria-invalid", String(wrong));
  if (wrong) {
    tell(say("amount_wrong", { feature: FEATURES.get(feature).name }));
    return;
  }
  const now = said(feature);
  if (now && now.answer === "there" && now.amount !== amount) answer(feature, { answer: "there", amount });
}

function wrote(feature, field, input) {
  const now = said(feature);
  if (now && now[field] !== input.value.trim()) {
    answer(feature, { answer: now.answer, [field]: input.value.trim() });
  }
}

function row(feature) {
  const name = make("span", { class: "name", id: `q-${feature.key}` }, feature.name);
  const hint = make("span", { class: "hint" }, feature.hint);
  const buttons = ANSWERS.map((one) => {
    const button = make("button", { type: "button", "aria-pressed": "false", "data-answer": one }, WORDS[one]);
    button.addEventListener("click", () => press(feature.key, one));
    return button;
  });
  const less = make("button", { type: "button", class: "step", "aria-label": say("less", { feature: feature.name }) }, "−");
  const more = make("button", { type: "button", class: "step", "aria-label": say("more", { feature: feature.name }) }, "+");
  const amount = make("input", {
    inputmode: "decimal",
    autocomplete: "off",
    "aria-label": say("amount", { feature: feature.name, unit: feature.unit }),
  });
  less.addEventListener("click", () => answer(feature.key, { answer: "there", amount: stepped(said(feature.key).amount, -1) }));
  more.addEventListener("click", () => answer(feature.key, { answer: "there", amount: stepped(said(feature.key).amount, 1) }));
  amount.addEventListener("change", () => typed(feature.key, amount));
  const unsure = make("button", { type: "button", "aria-pressed": "false" }, WORDS.not_sure);
  unsure.addEventListener("click", () => {
    answer(feature.key, { answer: "there", sure: said(feature.key).sure === "sure" ? "not sure" : "sure" });
  });
  const draw = make("button", { type: "button" }, WORDS.draw);
  draw.addEventListener("click", () => openDraw(current, feature));
  const open = make("button", { type: "button", "aria-expanded": "false" }, WORDS.note_photo);
  const note = make("input", { type: "text", autocomplete: "off", maxlength: "300" });
  const photo = make("input", { type: "text", autocomplete: "off", maxlength: "120" });
  note.addEventListener("change", () => wrote(feature.key, "note", note));
  photo.addEventListener("change", () => wrote(feature.key, "photo", photo));
  const extra = make(
    "div",
    { class: "extra", hidden: true },
    make("label", {}, WORDS.note, note),
    make("label", {}, WORDS.photo, photo),
  );
  open.addEventListener("click", () => {
    extra.hidden = !extra.hidden;
    open.setAttribute("aria-expanded", String(!extra.hidden));
    if (!extra.hidden) note.focus();
  });
  const drawings = make("ul", { class: "drawings", hidden: true });
  const detail = make(
    "div",
    { class: "detail", hidden: true },
    make("div", { class: "much" }, less, amount, more, make("span", { class: "unit" }, feature.unit)),
    unsure,
    draw,
    open,
    extra,
    drawings,
  );
  const item = make(
    "li",
    { class: "question" },
    make("p", { class: "asked" }, name, hint),
    make("div", { class: "answers", role: "group", "aria-labelledby": `q-${feature.key}` }, ...buttons),
    detail,
  );
  rows.set(feature.key, { item, buttons, amount, less, unsure, open, extra, note, photo, detail, drawings });
  return item;
}

function rest(part, chosen) {
  const left = part.features.filter((one) => (one.street || household) && !said(one.key));
  if (!left.length) return tell(WORDS.none_left);
  const from = $("plot-from").value;
  const many = left.map((one) => ({
    plot: current, feature: one.key, answer: chosen, amount: null, sure: "sure", from, note: "", photo: "",
  }));
  tell(words(add({ way: "many", many })));
  return refreshPlot();
}

function buildPlot() {
  DATA.parts.forEach((part, at) => {
    const heading = make("h2", { id: `part-${at}` }, part.name);
    const list = make("ul", { class: "questions", "aria-labelledby": `part-${at}` }, ...part.features.map(row));
    const ends = ["not there", "cannot see"].map((one) => {
      const label = say(one === "not there" ? "rest_none" : "rest_unseen", { part: part.name });
      const button = make("button", { type: "button" }, label);
      button.addEventListener("click", () => rest(part, one));
      return button;
    });
    $("questions").append(
      make("section", { class: "part", "data-part": at, "aria-labelledby": `part-${at}` }, heading, list, make("div", { class: "rest" }, ...ends)),
    );
  });
  for (const from of DATA.seenFrom) $("plot-from").append(make("option", { value: from }, WORDS[`from_${from}`] || from));
  for (const one of ["yes", "no"]) {
    $(`consent-${one}`).addEventListener("click", () => {
      const now = record.state.consent.get(current);
      const consent = now && now.consent === one ? null : one;
      tell(words(add({ way: "consent", plot: current, consent })));
      refreshPlot();
    });
  }
  $("household").addEventListener("click", () => {
    household = !household;
    refreshPlot();
  });
  $("plot-from").addEventListener("change", () => {
    if ($("plot-from").value !== "street") household = true;
    refreshPlot();
  });
}

function shapeItem(shape, at) {
  const off = make("button", { type: "button" }, say("drawing_off", { n: at + 1 }));
  off.addEventListener("click", () => {
    tell(words(add({ way: "undraw", id: shape.id, plot: current, feature: shape.feature })));
    refreshPlot();
  });
  return make("li", {}, say("drawing", { n: at + 1, size: sizeWords(shape.geometry) }), off);
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
  const amount = now.amount === null ? "" : String(now.amount);
  if (one.amount.value !== amount) one.amount.value = amount;
  mark(one.amount, "aria-invalid", "false");
  one.less.disabled = !now.amount;
  mark(one.unsure, "aria-pressed", String(now.sure !== "sure"));
  if (document.activeElement !== one.note) one.note.value = now.note;
  if (document.activeElement !== one.photo) one.photo.value = now.photo;
  hide(one.drawings, !drawn.length);
  if (drawn.length || one.drawings.childElementCount) {
    one.drawings.replaceChildren(...drawn.map(shapeItem));
  }
}

// Fill in the questions anew; `only` names the one that has changed.
function refreshPlot(only = null) {
  mark($("household"), "aria-pressed", String(household));
  const chosen = record.state.consent.get(current);
  for (const one of ["yes", "no"]) {
    mark($(`consent-${one}`), "aria-pressed", String(Boolean(chosen && chosen.consent === one)));
  }
  const shapes = [...record.state.drawn.values()].filter((one) => one.plot === current);
  for (const [feature, one] of rows) if (!only || only === feature) refreshRow(feature, one, shapes);
  if (!only) {
    DATA.parts.forEach((part, at) => {
      hide($("questions").children[at], part.features.every(({ key: one }) => rows.get(one).item.hidden));
    });
  }
  refreshDock();
}

function openPlot(plot) {
  current = plot;
  $("plot-from").value = record.state.from;
  household = record.state.from !== "street";
  $("plot-name").textContent = plotName(plot);
  $("plot-kind").textContent = `${DATA.kinds[P.kind[plot]]} · ${DATA.stretches[P.stretch[plot]].name}`;
  for (const one of rows.values()) {
    hide(one.extra, true);
    mark(one.open, "aria-expanded", "false");
  }
  if ($("round").open) $("round").open = false;
  refreshPlot();
  show("plot");
}
