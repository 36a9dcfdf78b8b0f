// Where words find room on a picture: no box over another, none over what must stay seen.

// Boxes already taken, in a coarse grid. `free` takes a box if it is free, `free.along` slanted words
// as a row of boxes; `free.take` takes a box anyhow.
function freeSpace() {
  const taken = new Map();
  const boxOf = (x, y, width, height) => [x - width / 2, y - height / 2, x + width / 2, y + height / 2];
  const cells = (box) => {
    const keys = [];
    for (let x = Math.floor(box[0] / 80); x <= Math.floor(box[2] / 80); x += 1) {
      for (let y = Math.floor(box[1] / 80); y <= Math.floor(box[3] / 80); y += 1) keys.push(x * 65536 + y);
    }
    return keys;
  };
  const take = (box, keys) => {
    for (const key of keys) taken.has(key) ? taken.get(key).push(box) : taken.set(key, [box]);
  };
  const isFree = (box, keys) => {
    const meets = (other) => box[0] < other[2] && box[2] > other[0] && box[1] < other[3] && box[3] > other[1];
    return !keys.some((key) => (taken.get(key) || []).some(meets));
  };
  const free = (x, y, width, height) => {
    const box = boxOf(x, y, width, height);
    const keys = cells(box);
    if (!isFree(box, keys)) return false;
    take(box, keys);
    return true;
  };
  free.along = (x, y, width, height, angle) => {
    const [ux, uy] = [Math.cos((angle * Math.PI) / 180), -Math.sin((angle * Math.PI) / 180)];
    const count = Math.max(1, Math.ceil(width / height));
    const boxes = Array.from({ length: count }, (_, at) => {
      const far = ((at + 0.5) / count - 0.5) * (width - height);
      return boxOf(x + far * ux, y + far * uy, height, height);
    });
    if (!boxes.every((box) => isFree(box, cells(box)))) return false;
    for (const box of boxes) take(box, cells(box));
    return true;
  };
  free.take = (x, y, width, height) => {
    const box = boxOf(x, y, width, height);
    take(box, cells(box));
  };
  return free;
}

// Places of a label of that size about its point, from its middle: over and under it in up to four
// rows, to its sides in rows between; the nearest first, above before below.
const LABEL_GAP = 6; // pixels between a point and its label
function labelPlaces(wide, high) {
  const first = high / 2 + LABEL_GAP;
  const beside = wide / 2 + LABEL_GAP;
  const places = [beside, beside + wide / 3].flatMap((dx) => [[dx, 0], [-dx, 0], [dx, LABEL_GAP], [-dx, LABEL_GAP]]);
  for (let row = 0; row < 4; row += 1) {
    for (const up of [-1, 1]) {
      const dy = up * (first + row * (high + 3));
      for (const dx of [0, wide / 3, -wide / 3, beside, -beside, beside + wide / 3, -beside - wide / 3]) places.push([dx, dy]);
    }
  }
  const far = ([dx, dy]) => Math.hypot(Math.max(0, Math.abs(dx) - wide / 2), Math.max(0, Math.abs(dy) - high / 2)) + Math.abs(dx) / wide;
  return places.sort((a, b) => far(a) - far(b) || a[1] - b[1]);
}

// A place for each label beside its point: [x, y] of its middle, or null where there is none.
// `wanted`: [x, y, width, height], most wanted first; `frame`: [left, top, right, bottom].
function layLabels(wanted, frame, free) {
  for (const [x, y] of wanted) free.take(x, y, 9, 9); // no label hides the point of another
  return wanted.map(([x, y, wide, high]) => {
    for (const [dx, dy] of labelPlaces(wide, high)) {
      const [left, top] = [x + dx, y + dy];
      const within = left - wide / 2 >= frame[0] && left + wide / 2 <= frame[2] && top - high / 2 >= frame[1] && top + high / 2 <= frame[3];
      if (within && free(left, top, wide, high)) return [left, top];
    }
    return null;
  });
}
