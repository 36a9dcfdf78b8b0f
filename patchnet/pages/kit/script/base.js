"use strict";
// What every page's script begins with: its data, its words, and elements made of them. Text only
// ever enters a page through textContent or setAttribute.

const DATA = JSON.parse(document.getElementById("payload").textContent);
const W = DATA.words;
const P = DATA.plots;

const byId = (id) => document.getElementById(id);

// The value is given by a function: "$&" in somebody's street name stays what it is.
const fill = (words, parts) => words.replace(/\{(\w+)\}/g, (_, name) => String(parts[name]));

// The page's language: numbers, lists and order of names are those of it (British in English).
const PAGE_LANGUAGE = document.documentElement.lang;
const LOCALE = PAGE_LANGUAGE === "en" ? "en-GB" : PAGE_LANGUAGE;

// A whole number as people write it.
const FULL = new Intl.NumberFormat(LOCALE);
const inFull = (value) => FULL.format(value);

// A name inside a sentence: small, where nouns are written small.
const NOUNS_KEEP_CAPITALS = "nounsKeepCapitals" in document.documentElement.dataset;
const inSentence = (name) => (NOUNS_KEEP_CAPITALS ? name : name.toLowerCase());

function el(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value !== false && value !== null) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

function button(words, attributes, pressed) {
  const made = el("button", { type: "button", ...attributes }, words);
  if (pressed) made.addEventListener("click", pressed);
  return made;
}

// One line that is both seen and read out.
function say(words) {
  byId("say").textContent = words;
}
