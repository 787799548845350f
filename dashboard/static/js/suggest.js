// suggest.js owns which features of a shoe a fitting points to: each with what was seen here that speaks for it or
// against it, and how strong such evidence is. Features, never brands; comfort on the foot decides. It is pure.

import { leanOf, signs } from "./oldpair.js";
import { t, word } from "./words.js";

const SHOES = ["left", "right"];

// asks are the features: what the catalogue is asked for, and how strong the evidence for such a choice is. The words
// fit.strength.* carry the source.
const asks = {
  "medial-support": { query: { medial_support: "some,firm" }, strength: "posture" },
  "no-medial-support": { query: { medial_support: "none" }, strength: "posture" },
  "fore-cushioning": { query: { cushioning: "medium,high" }, strength: "cushioning" },
  "stiffer": { query: { flexibility: "stiff,moderate" }, strength: "practice" },
  "wide": { query: { width: "wide" }, strength: "felt" },
  "narrow": { query: { width: "narrow" }, strength: "felt" },
  "longer": { query: null, strength: "felt" },
  "shorter": { query: null, strength: "felt" },
  "trail": { query: { category: "trail" }, strength: "practice" },
  "track": { query: { category: "track" }, strength: "practice" },
  "walking": { query: { category: "walking" }, strength: "practice" },
};

// suggest lists { name, query, strength, why, but } of what a fitting points to; why and but are sentences. gaits are the
// words of a gait in order, bands each foot's band of posture by its place among them.
export function suggest({ fields, old, tried, gaits, bands }) {
  const found = new Map();
  const say = (name, text, but = false) => {
    if (!found.has(name)) found.set(name, { name, ...asks[name], why: [], but: [] });
    found.get(name)[but ? "but" : "why"].push(text);
  };

  // What lies on the inner or the outer side: the gait seen, each foot's posture, the old pair. Only a gait that was
  // seen asks for support; the others stand beside it, for and against, and none is dropped.
  const seen = leanOf.gait(fields.gait, gaits);
  if (fields.gait && seen) {
    const name = seen > 0 ? "medial-support" : "no-medial-support";
    say(name, t("fit.why.gait", { gait: word(fields.gait), by: fields.gait_by ? word(fields.gait_by) : t("fit.why.by-eye") }));
    for (const shoe of SHOES) {
      const lean = bands[shoe] === undefined ? 0 : Math.sign(bands[shoe] - 2);
      if (lean) say(name, t("fit.why.posture", { shoe: t(`shoe.${shoe}`), band: word(gaits[bands[shoe]]) }), lean !== seen);
    }
    for (const sign of signs(old?.last)) say(name, t("fit.why.old", { sign: sign.text }), sign.lean !== seen);
  }

  const read = (shoe, name) => old?.last?.reading?.[shoe]?.[name];
  for (const shoe of SHOES) {
    const of = t(`shoe.${shoe}`), press = read(shoe, "press_fore");
    if (press === "gives" || press === "dead") say("fore-cushioning", t("fit.why.press", { shoe: of, press: word(press) }));
    if (read(shoe, "flex") === "floppy") say("stiffer", t("fit.why.flex", { shoe: of }));
    if (read(shoe, "torsion") === "floppy") say("stiffer", t("fit.why.torsion", { shoe: of }));
    if (read(shoe, "mesh") === "bunion side") say("wide", t("fit.why.mesh", { shoe: of }));
    if (read(shoe, "mesh") === "toe") say("longer", t("fit.why.toe", { shoe: of }));
  }

  const felt = { narrow: "wide", wide: "narrow", short: "longer", long: "shorter" };
  for (const pair of tried) {
    if (felt[pair.felt]) say(felt[pair.felt], t(`fit.why.felt`, { shoe: [pair.shoe, pair.size].filter(Boolean).join(", "), felt: t(`felt.${pair.felt}`) }));
  }

  for (const surface of ["trail", "track"]) if (fields.surfaces?.includes(surface)) say(surface, t("fit.why.surface", { surface: word(surface) }));
  if (fields.used_for === "walking") say("walking", t("fit.why.used", { used: word("walking") }));
  return [...found.values()];
}

// RUNNING are the categories of shoes for the road: what is asked for where nothing points to another.
const RUNNING = "daily,long run,tempo,race,support";

// question is what the catalogue is asked for: every feature at once. Two of a kind can't both be asked, so that the
// first stands.
export function question(all) {
  const query = {};
  for (const { query: asked } of all) for (const [name, value] of Object.entries(asked ?? {})) query[name] ??= value;
  if (Object.keys(query).length) query.category ??= RUNNING;
  return query;
}
