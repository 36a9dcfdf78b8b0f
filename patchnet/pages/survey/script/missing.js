// A house that is missing from the map: a spot and its number, for the organiser to draw.

let adopting = null;

function refreshMissing() {
  const all = [...record.state.missing.values()];
  hide(byId("missing-form"), adopting === null);
  mark(byId("missing"), "aria-pressed", String(adopting !== null));
  byId("missing-list").replaceChildren(
    ...all.map((one) => {
      const off = button(phrase("missing_off", { number: one.number }));
      off.addEventListener("click", () => {
        say(words(add({ way: "found", id: one.id, number: one.number })));
        refreshMissing();
      });
      return el("li", {}, phrase("missing_here", { number: one.number }), off);
    }),
  );
  streetMap.draw();
  refreshDock();
}

function missingDots(map, paper, px) {
  for (const one of record.state.missing.values()) pen(map, paper, px, [centimetres(one.point)], "Point", "#a4004f");
  if (adopting && adopting.at && map === streetMap) pen(map, paper, px, [adopting.at], "Point", "#a4004f");
}

// A tap while a house is being placed; whether it was one.
function placed(x, y) {
  if (adopting === null) return false;
  adopting.at = [x, y];
  say(W.missing_number);
  byId("missing-number").focus();
  streetMap.draw();
  return true;
}

function keepMissing() {
  const number = byId("missing-number").value.trim();
  if (!adopting.at) return say(W.missing_how);
  if (!number) return say(W.missing_number);
  const step = { way: "missing", id: newId(), number, note: byId("missing-note").value.trim(), point: degrees(adopting.at) };
  adopting = null;
  say(words(add(step)));
  return refreshMissing();
}

function buildMissing() {
  byId("missing").addEventListener("click", () => {
    adopting = adopting === null ? { at: null } : null;
    byId("missing-number").value = "";
    byId("missing-note").value = "";
    if (adopting) say(W.missing_how);
    refreshMissing();
  });
  byId("missing-middle").addEventListener("click", () => placed(...(here ? [here.x, here.y] : [streetMap.x, streetMap.y])));
  byId("missing-keep").addEventListener("click", keepMissing);
}
