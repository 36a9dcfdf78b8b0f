// Find your house.

const folded = (words) => words.toLowerCase().normalize("NFKD").replace(/[\u0300-\u036f]/g, "").replace(/[^\p{L}\p{N}]+/gu, " ").trim();
const FOLDED = P.id.map((id, plot) => [label(plot), P.label[plot], id, street(plot)].map(folded));

// The plot that is meant: by its whole name or id, else the one that has all the words; homes first.
function findHouse(asked) {
  const wanted = folded(asked);
  if (!wanted) return [];
  const exact = FOLDED.findIndex((names) => names.slice(0, 3).includes(wanted));
  if (exact >= 0) return [exact];
  const words = wanted.split(" ");
  const has = (names) => {
    const all = names.join(" ").split(" ");
    return words.every((word) => (/^\d/.test(word) ? all.includes(word) : all.some((one) => one.startsWith(word))));
  };
  return P.id.map((_, plot) => plot).filter((plot) => has(FOLDED[plot]));
}

function prepareFind() {
  const input = byId("find-house");
  if (PLOTS <= 1000) byId("houses").replaceChildren(...P.id.map((_, plot) => el("option", { value: label(plot) })));
  const go = () => {
    const found = findHouse(input.value);
    byId("find-said").textContent = found.length === 1 ? "" : found.length ? fill(W.find_many, { n: inFull(found.length), names: listed(found.slice(0, 4).map(label)) }) : input.value ? W.find_none : "";
    if (found.length === 1) openCard(found[0]);
    else say(byId("find-said").textContent);
  };
  byId("find-go").addEventListener("click", go);
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") go();
  });
}
