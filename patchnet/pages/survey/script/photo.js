// Photographs: made small on a canvas, which leaves out all that a camera writes beside the
// picture (place, time, device), and kept in the round itself, so that there is one file to send.

const slug = (plot) =>
  encodeURIComponent(P.id[plot]).replace(/[~!*'().]/g, (sign) => `%${sign.charCodeAt(0).toString(16).toUpperCase()}`);

async function shrunk(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, DATA.photoPx / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  const paper = canvas.getContext("2d");
  paper.fillStyle = "#fff";
  paper.fillRect(0, 0, canvas.width, canvas.height);
  paper.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const url = canvas.toDataURL("image/jpeg", 0.75);
  return url.slice(url.indexOf(",") + 1);
}

const photosOf = (plot, feature) =>
  [...record.state.photos.values()].filter((one) => one.plot === plot && one.feature === feature);
const kilobytes = (data) => Math.max(1, Math.round((data.length * 3) / 4 / 1024));

async function takePhoto(feature, input) {
  const [file] = input.files;
  if (!file) return;
  const plot = current;
  // The small store holds a few megabytes, and all answers with them.
  if (store.kind !== "database") return say(W.photo_no_room);
  let data;
  try {
    data = await shrunk(file);
  } catch {
    return say(phrase("photo_broken", { name: file.name }));
  } finally {
    input.value = "";
  }
  const now = record.state.said.get(key(plot, feature));
  if (!now) return;
  const name = `${slug(plot)}~${feature}~${newId().slice(0, 8)}.jpg`;
  const photo = [now.photo, name].filter(Boolean).join("; ");
  add({ way: "photo", id: name, plot, feature, data, said: { ...now, photo } });
  say(phrase("photo_kept", { size: kilobytes(data) }));
  if (plot === current) refreshPlot(feature);
}

function photoItem(shot, at) {
  const off = button(phrase("photo_off", { n: at + 1 }));
  off.addEventListener("click", () => {
    const now = said(shot.feature);
    const photo = now.photo.split("; ").filter((name) => name !== shot.id).join("; ");
    say(words(add({ way: "unphoto", id: shot.id, plot: current, feature: shot.feature, said: { ...now, photo } })));
    refreshPlot(shot.feature);
  });
  return el("li", {}, phrase("photo_here", { n: at + 1, size: kilobytes(shot.data) }), off);
}

// Photographs that still belong to an answer.
function photosToHand() {
  const { said: all, photos } = record.state;
  return [...photos.values()]
    .filter(({ id, plot, feature }) => (all.get(key(plot, feature)) || { photo: "" }).photo.split("; ").includes(id))
    .map(({ id, plot, feature, when, data }) => ({ plot: P.id[plot], feature, when, name: id, data }));
}
