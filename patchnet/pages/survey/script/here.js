// Where this phone is, if it may say so: a dot on the map, and the nearest houses. It is written
// down nowhere.

const NEAR = 3;
const FAR_CM = 30000;
let watching = null;
let here = null;

const away = (plot) => {
  const box = BOXES[plot];
  if (inside(plot, here.x, here.y)) return 0;
  return Math.hypot(Math.max(box[0] - here.x, 0, here.x - box[2]), Math.max(box[1] - here.y, 0, here.y - box[3]));
};

function nearest() {
  const all = P.id.map((_, plot) => [away(plot), plot]).sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  return all.filter(([far]) => far < FAR_CM).slice(0, NEAR);
}

function located({ coords }) {
  const [x, y] = centimetres([coords.longitude, coords.latitude]);
  const first = here === null;
  here = { x, y, accuracy: coords.accuracy };
  const found = nearest();
  const metres_ = Math.round(coords.accuracy);
  if (!found.length) say(W.here_far);
  else if (first) {
    say(phrase("here_near", { plot: plotName(found[0][1]), metres: metres_ }));
    streetMap.x = x;
    streetMap.y = y;
    streetMap.box = null;
  }
  byId("near").replaceChildren(
    ...found.map(([far, plot]) =>
      button(phrase("here_button", { plot: plotName(plot), metres: Math.round(far / METRE) }), {}, () => {
        if (P.stretch[plot] !== stretch) openStretch(P.stretch[plot], false);
        openPlot(plot);
      }),
    ),
  );
  hide(byId("near"), !found.length);
  streetMap.draw();
}

function notLocated(error) {
  const from = location.protocol === "file:" ? "here_file" : "here_denied";
  stopWatching();
  say(error && error.code === 1 ? W[from] : W.here_none);
}

function stopWatching() {
  if (watching !== null) navigator.geolocation.clearWatch(watching);
  watching = null;
  here = null;
  mark(byId("where"), "aria-pressed", "false");
  hide(byId("near"), true);
  streetMap.draw();
}

function hereDot(map, paper, px) {
  if (!here || map !== streetMap) return;
  const round = new Path2D();
  round.arc(here.x, here.y, Math.max(here.accuracy * METRE, px(8)), 0, 2 * Math.PI);
  paper.strokeStyle = "#12457e";
  paper.lineWidth = px(2);
  paper.stroke(round);
  pen(map, paper, px, [[here.x, here.y]], "Point", "#12457e");
}

function buildHere() {
  byId("where").addEventListener("click", () => {
    if (watching !== null) return stopWatching();
    if (!navigator.geolocation) return say(W.here_none);
    mark(byId("where"), "aria-pressed", "true");
    say(W.here_asked);
    watching = navigator.geolocation.watchPosition(located, notLocated, {
      enableHighAccuracy: true, maximumAge: 5000, timeout: 20000,
    });
    return undefined;
  });
}
