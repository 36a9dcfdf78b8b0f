// Screens, the dock at the thumb, and the start.

let screen = "street";

function show(name, focus = true) {
  screen = name;
  // All changes first, then what needs to know where things lie: laid out once, not thrice.
  const down = window.scrollY > 0;
  for (const one of ["street", "plot", "draw", "over", "rules"]) hide(byId(`screen-${one}`), one !== name);
  if (name === "over") refreshOver();
  if (name === "street") refreshStreet();
  refreshDock();
  if (down) window.scrollTo(0, 0);
  const heading = byId(`screen-${name}`).querySelector("h1");
  if (focus && heading) heading.focus({ preventScroll: true });
}

function refresh() {
  if (screen === "plot") refreshPlot();
  if (screen === "over") refreshOver();
  if (stretch >= 0 && listed.size && screen === "street") refreshStreet();
}

// What the three buttons of the dock say and do on each screen.
function refreshDock() {
  const drawing = screen === "draw";
  byId("undo").disabled = drawing ? !sketch || !sketch.pieces.length : !record.steps.length;
  byId("redo").hidden = drawing;
  byId("redo").disabled = !record.undone.length;
  const next = nextAfter(screen === "plot" ? current : -1);
  const name = next < 0 ? "" : P.id[next];
  const main = {
    street: next < 0 ? W.go_over : phrase("go_next", { plot: name }),
    plot: next < 0 ? W.go_done : phrase("go_done_next", { plot: name }),
    draw: W.go_keep,
    over: W.go_street,
    rules: W.go_street,
  };
  write(byId("go-words"), main[screen]);
  byId("go").disabled = drawing && (!sketch || Boolean(lacking()));
}

function go() {
  if (screen === "street") {
    const next = nextAfter(-1);
    if (next < 0) show("over");
    else openPlot(next);
  } else if (screen === "plot") {
    const next = nextAfter(current);
    if (!record.state.done.has(current)) say(words(add({ way: "done", plot: current, is: true })));
    if (next < 0) show("street");
    else openPlot(next);
  } else if (screen === "draw") keepDraw();
  else show("street");
}

function showKept(kind) {
  const line = byId("kept");
  line.dataset.kind = kind;
  line.textContent = W[`kept_${kind}`];
  byId("not-kept").hidden = kind !== "none";
}

async function startRound(round, steps) {
  record.round = round;
  await store.putRound(round);
  const log = steps === null ? await store.entries(round.id) : [];
  replay(log);
  if (steps) {
    for (const [n, step] of steps.entries()) {
      await store.add(round.id, n, step);
      log.push(step);
    }
    replay(log);
  }
}

// The page ends above the dock, however many lines that has.
function keepClear() {
  const dock = document.querySelector(".dock");
  new ResizeObserver(() => {
    document.body.style.paddingBottom = `${dock.offsetHeight + 20}px`;
  }).observe(dock);
}

function listen() {
  keepClear();
  byId("undo").addEventListener("click", () => {
    if (screen === "draw") {
      sketch.pieces.pop();
      refreshDraw();
    } else {
      undo();
      refresh();
    }
  });
  byId("redo").addEventListener("click", () => {
    redo();
    refresh();
  });
  byId("go").addEventListener("click", go);
  for (const [id, to] of [["to-over", "over"], ["to-rules", "rules"], ["plot-back", "street"]]) {
    byId(id).addEventListener("click", () => show(to));
  }
  // What is being typed counts even if the page is put away before the field is left.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden" && document.activeElement.matches("input[type=text], input:not([type])")) {
      document.activeElement.dispatchEvent(new Event("change"));
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (store.kind === "none" && record.log.length) event.preventDefault();
  });
}

async function start() {
  buildPlot();
  buildDraw();
  buildStreet();
  buildHere();
  buildMissing();
  buildOver();
  listen();
  await store.open();
  let rounds = [];
  try {
    rounds = await store.rounds(DATA.street.id);
  } catch {
    store.kind = "none";
  }
  const open = rounds.filter((one) => one.open).at(-1);
  const fresh = { id: newId(), street: DATA.street.id, began: iso(new Date()), open: true };
  await startRound(open || fresh, open ? null : []);
  showKept(store.kind);
  const last = [...record.steps].reverse().find((step) => ["set", "done", "many"].includes(step.way));
  const plot = last && (last.way === "set" ? last.said.plot : last.way === "many" ? last.many[0].plot : last.plot);
  byId("round").open = !record.log.length;
  openStretch(plot === undefined ? 0 : P.stretch[plot]);
  const n = record.state.said.size;
  if (n) say(phrase("welcome_back", { answers: count(n, "state_answer", "state_answers"), began: record.round.began.slice(0, 16).replace("T", " ") }));
  else say(W.welcome);
  document.documentElement.classList.add("drawn");
}

start();
