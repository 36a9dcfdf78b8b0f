// What is read is written when the picture stands: the map answers at once, the words come two
// frames later, piece by piece, so that the next choice never waits for the words of the last.

const WRITTEN_LATER = ["street-words", "plots"].map(byId);
const LATEST_MS = 500; // a page that nobody looks at draws no frames

let pieces = [];
let waiting = 0; // which call is waited for: a later one takes the place of an earlier
function writeLater(words) {
  pieces = words;
  waiting += 1;
  const mine = waiting;
  for (const one of WRITTEN_LATER) one.setAttribute("aria-busy", "true");
  let begun = false;
  const begin = () => {
    if (begun || mine !== waiting) return;
    begun = true;
    writePiece(mine);
  };
  requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(begin)));
  setTimeout(begin, LATEST_MS);
}

function writePiece(mine) {
  if (mine !== waiting) return;
  const write = pieces.shift();
  if (write) {
    write();
    setTimeout(writePiece, 0, mine);
    return;
  }
  for (const one of WRITTEN_LATER) one.removeAttribute("aria-busy");
}

// Whatever is still to be written, at once.
function writeNow() {
  waiting += 1;
  const left = pieces;
  pieces = [];
  for (const write of left) write();
  for (const one of WRITTEN_LATER) one.removeAttribute("aria-busy");
}
