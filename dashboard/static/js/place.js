// place.js owns which store the bench stands in: the tablet's or the person's own, or the one that somebody who
// works for several has chosen on this tablet.

const CHOSEN = "solewright.store";

// choose keeps a store for this tablet.
export const choose = (store) => localStorage.setItem(CHOSEN, store);

// handOn signs whoever is at the bench out, and has somebody else sign in to a page. It reports whether it could.
export async function handOn(path) {
  try {
    await fetch("/sign-out", { method: "POST", redirect: "manual" });
  } catch {
    return false;
  }
  location.assign(`/sign-in?${new URLSearchParams({ next: path })}`);
  return true;
}

// context brings what the bench must know of person, store and rules; {} where nobody can be asked and nothing is kept.
export async function context() {
  const ask = async (query) => {
    const answer = await fetch(`/bench/context.json${query}`);
    return answer.ok ? answer.json() : {};
  };
  try {
    const own = await ask(""), chosen = localStorage.getItem(CHOSEN);
    return own.store || !chosen ? own : await ask(`?${new URLSearchParams({ store: chosen })}`);
  } catch {
    return {};
  }
}
