"use strict";
// The tape-measure sheet as a form: what is filled in is kept on the device, and saved as the
// table that is read back.

const DATA = JSON.parse(document.getElementById("payload").textContent);
const KEY = `patchnet tape ${DATA.street} ${DATA.places.map((one) => one.place).join(" ")}`;
const inputs = [...document.querySelectorAll("input")];
const byId = (id) => document.getElementById(id);

const cell = (text) => (/[",;\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

function table() {
  const rows = DATA.places.map((place, at) => {
    const said = { ...place, by: byId("by").value.trim(), date: byId("date").value.trim() };
    for (const input of inputs) {
      if (["all", String(at + 1)].includes(input.dataset.place)) said[input.dataset.column] = input.value.trim();
    }
    return DATA.columns.map((name) => cell(String(said[name] ?? ""))).join(",");
  });
  return `\ufeff${[DATA.columns.join(","), ...rows].join("\r\n")}\r\n`;
}

function keep() {
  const said = Object.fromEntries(inputs.map((input) => [input.id, input.value]));
  try {
    localStorage.setItem(KEY, JSON.stringify(said));
    byId("kept").textContent = DATA.words.kept;
  } catch {
    byId("kept").textContent = DATA.words.not_kept;
  }
}

function bringBack() {
  try {
    const said = JSON.parse(localStorage.getItem(KEY) || "{}");
    for (const input of inputs) if (typeof said[input.id] === "string") input.value = said[input.id];
    byId("kept").textContent = DATA.words.kept;
  } catch {
    byId("kept").textContent = DATA.words.not_kept;
  }
}

function save() {
  const name = `${DATA.street.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-") || "street"}-measured.csv`;
  const url = URL.createObjectURL(new Blob([table()], { type: "text/csv" }));
  const link = document.createElement("a");
  link.setAttribute("href", url);
  link.setAttribute("download", name);
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
  byId("say").textContent = DATA.words.saved.replace("{name}", () => name);
}

bringBack();
for (const input of inputs) input.addEventListener("input", keep);
byId("save").addEventListener("click", save);
byId("as-text").addEventListener("toggle", () => {
  byId("file-text").value = table();
});
