// The street: a stretch as map and list, what is done, what is next.

let stretch = 0;
let streetMap = null;
const listed = new Map();

const look = (plot) =>
  record.state.done.has(plot) ? "done" : (record.state.answers.get(plot) || 0) > 0 ? "begun" : "none";

const doneIn = (at) => DATA.stretches[at].plots.filter((plot) => record.state.done.has(plot)).length;

// The next plot to look at: after `plot` in walking order, else the first that is left; -1: none.
function nextAfter(plot) {
  const { plots } = DATA.stretches[stretch];
  const from = plots.indexOf(plot) + 1;
  const turned = [...plots.slice(from), ...plots.slice(0, from)];
  const next = turned.find((one) => one !== plot && !record.state.done.has(one));
  return next === undefined ? -1 : next;
}

// The buttons that move a map, for whoever cannot or would not drag.
function moves(name, map, home) {
  const does = {
    closer: () => map.zoom(1.5),
    farther: () => map.zoom(1 / 1.5),
    west: () => map.shift(-1, 0),
    north: () => map.shift(0, 1),
    south: () => map.shift(0, -1),
    east: () => map.shift(1, 0),
    home: () => map.show(home()),
  };
  for (const [way, act] of Object.entries(does)) {
    const button = byId(`${name}-${way}`);
    if (button) button.addEventListener("click", act);
  }
}

function stateWords(plot) {
  const n = record.state.answers.get(plot) || 0;
  if (record.state.done.has(plot)) return phrase("state_done", { n });
  return n ? count(n, "state_answer", "state_answers") : W.state_none;
}

function buildStreet() {
  DATA.stretches.forEach((one, at) => byId("stretch").append(el("option", { value: at })));
  byId("stretch").addEventListener("change", () => openStretch(Number(byId("stretch").value)));
  streetMap = new StreetMap(byId("street-map"), {
    tapped: (x, y, reach) => {
      if (placed(x, y)) return;
      const plot = plotAt(x, y, reach);
      if (plot >= 0) {
        if (P.stretch[plot] !== stretch) openStretch(P.stretch[plot], false);
        openPlot(plot);
      }
    },
    over: (map, paper, px) => {
      overlay(map, paper, px);
      missingDots(map, paper, px);
      hereDot(map, paper, px);
    },
  });
  streetMap.look = (plot) => (P.stretch[plot] === stretch ? look(plot) : "other");
  moves("street", streetMap, () => boxOf(DATA.stretches[stretch].plots));
  const who = byId("who");
  who.addEventListener("change", () => {
    if (who.value.trim() !== record.state.surveyor) add({ way: "who", surveyor: who.value.trim() });
    refreshDock();
  });
  for (const from of DATA.seenFrom) byId("from").append(el("option", { value: from }, W[`from_${from}`] || from));
  byId("from").addEventListener("change", () => {
    add({ way: "from", from: byId("from").value });
    refreshDock();
  });
}

function openStretch(at, move = true) {
  stretch = at;
  listed.clear();
  byId("plots").replaceChildren(
    ...DATA.stretches[at].plots.map((plot) => {
      const state = el("span", { class: "state" });
      const button = el("button", { type: "button" }, el("span", { class: "which" }, el("bdi", {}, plotName(plot))), state);
      button.addEventListener("click", () => openPlot(plot));
      listed.set(plot, { button, state });
      return el("li", {}, button);
    }),
  );
  if (move) streetMap.show(boxOf(DATA.stretches[at].plots));
  refreshStreet();
}

function refreshStreet() {
  [...byId("stretch").options].forEach((option, at) => {
    const { name, plots } = DATA.stretches[at];
    write(option, phrase("stretch_option", { name, done: doneIn(at), all: plots.length }));
  });
  byId("stretch").value = String(stretch);
  const next = nextAfter(-1);
  for (const [plot, { button, state }] of listed) {
    const words_ = stateWords(plot);
    write(state, plot === next ? phrase("state_next", { state: words_ }) : words_);
    mark(button, "class", `plot ${look(plot)}${plot === next ? " next" : ""}`);
  }
  streetMap.strong = next;
  streetMap.draw();
  const all = DATA.stretches[stretch].plots.length;
  byId("progress").textContent = next < 0 ? phrase("all_done", { all }) : phrase("progress", { done: doneIn(stretch), all });
  // Whoever is typing goes on typing.
  if (document.activeElement !== byId("who")) byId("who").value = record.state.surveyor;
  byId("from").value = record.state.from;
  refreshMissing();
  refreshDock();
}
