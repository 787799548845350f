// ids.js owns the identifiers that a tablet makes on its own, so that a ticket can begin without a line: UUIDv7
// (RFC 9562, section 5.7) for readings, and pair references (Crockford's base 32 with a check character).

const random = (n) => crypto.getRandomValues(new Uint8Array(n));

// uuidv7 returns a new UUID whose first 48 bits are the milliseconds of now.
export function uuidv7(now = Date.now(), bits = random(10)) {
  const bytes = new Uint8Array(16);
  for (let i = 0; i < 6; i++) bytes[i] = Math.floor(now / 2 ** (8 * (5 - i))) % 256;
  bytes.set(bits, 6);
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

const SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ*~$=U";

// pairRef returns the reference of 40 random bits: eight characters and a check character.
export function pairRef(bits = random(5)) {
  let n = bits.reduce((sum, b) => sum * 256n + BigInt(b), 0n);
  const check = SYMBOLS[Number(n % 37n)];
  let ref = "";
  for (let i = 0; i < 8; i++, n /= 32n) ref = SYMBOLS[Number(n % 32n)] + ref;
  return ref + check;
}

// parsePairRef reads a reference as people type it, or returns null: either case, hyphens and spaces anywhere, O
// for 0, I and L for 1.
export function parsePairRef(text) {
  const ref = text.toUpperCase().replace(/[\s-]/g, "").replace(/O/g, "0").replace(/[IL]/g, "1");
  if (ref.length !== 9) return null;
  let n = 0n;
  for (const c of ref.slice(0, 8)) {
    const at = SYMBOLS.indexOf(c);
    if (at < 0 || at > 31) return null;
    n = n * 32n + BigInt(at);
  }
  return SYMBOLS[Number(n % 37n)] === ref[8] ? ref : null;
}

// isGTIN reports whether text is a GTIN of 8, 12, 13 or 14 digits with its check digit (GS1 General Specifications,
// section 7.9): from the right the digits count once and three times in turn, and the sum ends in 0.
export function isGTIN(text) {
  if (!/^(\d{8}|\d{12,14})$/.test(text)) return false;
  return [...text].reverse().reduce((sum, d, i) => sum + Number(d) * (i % 2 ? 3 : 1), 0) % 10 === 0;
}

// spaced writes a reference as the slip prints it: 7K3M 9QTD 4.
export const spaced = (ref) => ref.replace(/^(.{4})(.{4})(.)$/, "$1 $2 $3");
