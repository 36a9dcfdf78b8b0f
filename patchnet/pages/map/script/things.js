// The things that would help most: their numbers on the map.

const THINGS = DATA.things || [];
const ASIDE = [0, 8, 16].flatMap((far) => [[0, -far], [-far, -far], [far, -far], [-far, 0], [far, 0], [0, far], [-far, far], [far, far]]);
function writeThings(seen, free) {
  for (const [number, x, y] of THINGS) {
    const point = pixel(x, y);
    if (!seen.contains(latLng(x, y))) continue;
    // Clear of names and of each other, where that takes no more than a touch aside.
    const spots = ASIDE.map(([dx, dy]) => [point.x + dx, point.y + dy]);
    const found = spots.find((one) => free(...one, 30, 30));
    if (!found) free.take(...spots[0], 30, 30);
    place(...(found || spots[0]), "do-disc", String(number));
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
