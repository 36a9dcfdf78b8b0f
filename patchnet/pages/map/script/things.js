// The things that would help most: their numbers on the map.

const THINGS = DATA.things || [];
function writeThings(seen, free) {
  for (const [number, x, y] of THINGS) {
    const point = pixel(x, y);
    if (!seen.contains(latLng(x, y))) continue;
    free(point.x, point.y, 30, 30);
    place(point.x, point.y, "do-disc", String(number));
  }
}

function prepareThings() {
  for (const one of document.querySelectorAll(".disc")) {
    one.addEventListener("click", () => {
      const thing = THINGS.find(([number]) => String(number) === one.dataset.thing);
      if (!thing) return;
      const [, x, y] = thing;
      MAP.fitBounds(L.latLngBounds([latLng(x - 3500, y - 3500), latLng(x + 3500, y + 3500)]), { animate: false, maxZoom: 20 });
      byId("under").textContent = byId("thing-" + one.dataset.thing).querySelector("strong").textContent;
      say(byId("under").textContent);
      byId("map_street").scrollIntoView({ block: "nearest" });
    });
  }
}
