// words.js owns the text of the pages in the reader's language: the same file of words that the server's pages use.

const lang = document.documentElement.lang;
const text = await (await fetch(new URL(`../words/${lang}.json`, import.meta.url))).json();
const plural = new Intl.PluralRules(lang);

// t returns the text of a key with the fills put in; a fill n chooses the plural form. A key without text comes
// back as it is, so that it can be seen.
export function t(key, fills = {}) {
  const form = fills.n === undefined ? undefined : text[`${key}.${plural.select(Math.abs(fills.n))}`] ?? text[`${key}.other`];
  return (form ?? text[key] ?? key).replace(/\{(\w+)\}/g, (all, name) => fills[name] ?? all);
}

// has reports whether a key has a text.
export const has = (key) => key in text;

// word returns the screen's word for a word of the data.
export function word(data) {
  const key = `scale.${data.replaceAll(" ", "-")}`;
  return text[key] ?? data;
}

// list joins words as a sentence does: inner, centre and outer.
const lists = new Intl.ListFormat(lang, { type: "conjunction" });
export const list = (words) => lists.format(words);

// locale is where the language's dates and amounts are written as these pages write them.
export const locale = text.locale;

// day writes a date as people say it, 22 June; clock writes the time of day.
const days = new Intl.DateTimeFormat(text.locale, { day: "numeric", month: "long" });
const clocks = new Intl.DateTimeFormat(text.locale, { hour: "2-digit", minute: "2-digit" });
export const day = (date) => days.format(date);
export const clock = (date) => clocks.format(date);

export const capital = (s) => s.charAt(0).toLocaleUpperCase(lang) + s.slice(1);
