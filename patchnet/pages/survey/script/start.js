// What the screens of the survey page share.

// A sentence of the word list with its gaps filled in.
const phrase = (key, gaps = {}) => fill(W[key], gaps);

// Change an attribute or text only where it differs, so that nothing is laid out for nothing.
function mark(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}
function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
function hide(element, is) {
  if (element.hidden !== is) element.hidden = is;
}

const plotName = (at) => (P.label[at] ? `${P.id[at]} · ${P.label[at]}` : P.id[at]);
const count = (n, one, many) => phrase(n === 1 ? one : many, { n });

const FEATURES = new Map();
DATA.parts.forEach((part, at) => {
  for (const feature of part.features) FEATURES.set(feature.key, { ...feature, part: at });
});

// Local time as ISO 8601 with its offset from UTC.
function iso(date) {
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const off = -date.getTimezoneOffset();
  const local = new Date(date.getTime() + off * 60000).toISOString().slice(0, 19);
  return `${local}${off < 0 ? "-" : "+"}${two(off / 60)}:${two(off % 60)}`;
}

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
