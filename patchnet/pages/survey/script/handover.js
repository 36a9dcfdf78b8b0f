// Handing the round over as one file, reading one in again, and rounds handed over before.

let armed = "";

const fileName = (round) => {
  const name = DATA.street.name.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "");
  return `${name.slice(0, 40) || "street"}-${iso(new Date()).slice(0, 10)}-${round.id.slice(0, 8)}.return.json`;
};

const fileText = (photos = true) => `${JSON.stringify(handOver(photos), null, 1)}\n`;

function saveFile() {
  const name = fileName(record.round);
  const url = URL.createObjectURL(new Blob([fileText()], { type: "application/json" }));
  const link = el("a", { href: url, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
  say(phrase("saved_as", { name }));
  byId("saved-note").hidden = false;
}

// A mail cannot be given a file from here: it is saved, and the mail says which to attach.
function mailFile() {
  saveFile();
  const name = fileName(record.round);
  const subject = encodeURIComponent(phrase("mail_subject", { name: DATA.street.name }));
  const body = encodeURIComponent(phrase("mail_body", { name }));
  const link = el("a", { href: `mailto:${DATA.mailTo}?subject=${subject}&body=${body}` });
  document.body.append(link);
  link.click();
  link.remove();
  say(phrase("mailed", { name }));
}

// What the device lets pages share: as JSON, else under the name of a plain text file.
function shareable() {
  const name = fileName(record.round);
  for (const [file, type] of [[name, "application/json"], [`${name}.txt`, "text/plain"]]) {
    try {
      const shared = new File([fileText()], file, { type });
      if (navigator.canShare && navigator.canShare({ files: [shared] })) return shared;
    } catch {
      return null;
    }
  }
  return null;
}

async function share() {
  const file = shareable();
  try {
    await navigator.share({ files: [file], title: file.name });
    say(phrase("shared", { name: file.name }));
    byId("saved-note").hidden = false;
  } catch (error) {
    say(error.name === "AbortError" ? W.share_stopped : W.share_failed);
  }
}

async function readIn(file) {
  let content;
  try {
    content = JSON.parse(await file.text());
  } catch {
    return say(phrase("read_broken", { name: file.name }));
  }
  if (!content || content.patchnet_return !== 1) return say(phrase("read_other", { name: file.name }));
  if (!content.street || content.street.id !== DATA.street.id) return say(phrase("read_street", { name: file.name }));
  const id = typeof content.id === "string" && content.id && content.id !== record.round.id ? content.id : newId();
  const kept = await store.rounds(DATA.street.id);
  const fresh = kept.some((one) => one.id === id) ? newId() : id;
  const began = typeof content.began === "string" ? content.began : iso(new Date());
  await closeRound();
  await startRound({ id: fresh, street: DATA.street.id, began, open: true }, stepsOf(content));
  show("over");
  return say(count(record.state.said.size, "read_one", "read_many"));
}

async function closeRound() {
  await saving;
  if (record.log.length) await store.putRound({ ...record.round, open: false, n: record.state.said.size });
  else await store.drop(record.round.id);
}

async function newRound() {
  await closeRound();
  await startRound({ id: newId(), street: DATA.street.id, began: iso(new Date()), open: true }, []);
  show("street");
  refresh();
  say(W.new_round);
}

async function backTo(round) {
  await closeRound();
  await startRound({ ...round, open: true }, null);
  show("street");
  refresh();
  say(count(record.state.said.size, "read_one", "read_many"));
}

async function refreshOver() {
  const { said, drawn, consent, done, missing } = record.state;
  const photos = photosToHand().length;
  byId("over-counts").replaceChildren(
    ...[
      phrase("over_plots", { n: done.size, all: P.id.length }),
      count(said.size, "over_answer", "over_answers"),
      count(drawn.size, "over_drawing", "over_drawings"),
      count(consent.size, "over_consent", "over_consents"),
      ...(photos ? [count(photos, "over_photo", "over_photos")] : []),
      ...(missing.size ? [count(missing.size, "over_missing_one", "over_missing")] : []),
    ].map((text) => el("li", {}, text)),
  );
  byId("share").hidden = !shareable();
  if (byId("as-text").open) byId("file-text").value = fileText(false);
  const earlier = (await store.rounds(DATA.street.id)).filter((one) => one.id !== record.round.id);
  byId("earlier").hidden = !earlier.length;
  byId("earlier-list").replaceChildren(
    ...earlier.map((one) => {
      const name = phrase("earlier", { began: one.began.slice(0, 16).replace("T", " "), n: one.n || 0 });
      const open = button(W.earlier_open);
      const drop = button(armed === one.id ? W.earlier_sure : W.earlier_drop);
      open.addEventListener("click", () => backTo(one));
      drop.addEventListener("click", async () => {
        if (armed === one.id) {
          await store.drop(one.id);
          say(W.earlier_gone);
          armed = "";
        } else {
          armed = one.id;
          say(W.earlier_ask);
        }
        refreshOver();
      });
      return el("li", {}, el("span", {}, name), open, drop);
    }),
  );
}

function buildOver() {
  byId("save").addEventListener("click", saveFile);
  byId("share").addEventListener("click", share);
  byId("mail").addEventListener("click", mailFile);
  byId("new-round").addEventListener("click", newRound);
  byId("as-text").addEventListener("toggle", () => {
    byId("file-text").value = byId("as-text").open ? fileText(false) : "";
  });
  byId("read-in").addEventListener("change", () => {
    const [file] = byId("read-in").files;
    if (file) readIn(file);
    byId("read-in").value = "";
  });
}
