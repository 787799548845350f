// sole.js owns the drawing of an outsole: the outline and the ten zones of a left shoe, sole up, toes up,
// and the right shoe mirrored from it. Inner edges face outwards on screen. The heel is drawn a fifth wider
// than a last would be, so that each of its three zones takes a thumb.

// The zones by the columns of a reading, in the order of the data; ids carry the words of the screen.
export const ZONES = [
  "heel_medial", "heel_centre", "heel_lateral", "mid_medial", "mid_lateral",
  "fore_medial", "fore_centre", "fore_lateral", "toe_medial", "toe_lateral",
];

// WIDTH is the width of the pair's drawing; a point x of the left shoe is WIDTH - x of the right one.
export const WIDTH = 480, HEIGHT = 500;

const RIM =
  "M96.1 2C84.3 2 72.9 6.1 62.9 12.2C32.7 30.3 20.6 61.9 13.6 94.6C10.2 110.4 8.1 126.5 8 142.6C7.8 175.1 11.2 196.7 30.9 223.4C35.7 229.9 40.6 236.3 46.4 241.9C63.6 258.3 74 264.5 79.5 289.5C83.1 305.9 78.8 326.5 65.8 339.8C58.1 347.1 48.7 353.3 41.6 361.4C12.8 395.3 9.6 438.5 40.9 470.7C57 487.2 85.7 497.2 111.1 497.1C133.3 496.9 157.6 490 174.1 477.4C214.8 446.6 208.9 400.8 198.6 359.7C195 349.5 190.7 339.4 188.3 329.1C186.6 321 186.1 312.9 186.4 304.9C188.4 286.6 193.1 269 197.5 251.1C204.5 222.6 211.2 193.9 211.1 164.4C211 121.6 193.8 58.8 162.3 28.4C146.6 13.2 118 2 96.1 2Z";

const PATH = {
  heel_medial:
    "M66.7 354.8C54.3 354.4 35.3 386.7 32.3 395.9C30.5 401.6 29.8 407.5 29.6 413.4C29.4 435.1 39.4 460.7 61.4 473.7C64.6 475.6 68.9 478.6 73.1 478.6C76.7 478.7 79.9 476.6 80.8 473.6C82.3 468.3 81.4 461.6 81.6 456C82.2 440.6 82.7 425.2 83.8 409.8C84.5 399.6 85.4 389.3 86.7 379.1C87.4 374.1 89.1 368.7 89.1 363.7C89.1 356.2 73.4 355.1 66.7 354.8Z",
  heel_centre:
    "M102 361.4C98.3 361.5 95.6 363.8 94.7 366.8C93 372.3 92.9 378.6 92.3 384.3C90.4 402.7 89.4 421 88.6 439.3C88 452.4 86 466 86.9 479C87.5 487.7 103.4 487.5 111.1 487.5C116.9 487.4 127.6 487.8 130.6 482.8C133 479.1 132.7 457.8 133.2 452.1C134.5 433.1 136.9 414.1 139 395C139.7 388 141.5 380.2 140.7 373.1C140.5 370.8 139.1 368.8 136.7 367.6C134.8 366.6 104.6 361.3 102 361.4Z",
  heel_lateral:
    "M154.5 370C150.9 369.9 147.9 371.6 146.9 374.6C145 380.8 145.4 394 144.6 401C142.6 419.3 140.4 437.6 139.2 456C138.7 461.8 137.8 467.8 138.1 473.6C138.2 477.5 141.6 480.7 146.5 480.4C151.9 480 158.5 475.7 162.6 473C188.6 455.9 196.4 428.1 196.3 401.7C196.2 395.8 195.3 377.2 188.2 374.6C184.3 373.2 179.1 373.3 175.2 372.8C168.4 371.9 161.2 370.1 154.5 370Z",
  mid_medial:
    "M53.3 220.2C50.3 220.5 47.9 222.8 47.5 225.8C47.3 227.3 47.7 228.8 48.4 230.1C52.8 237.3 67.3 246.9 73.7 254.5C78 259.5 81.1 265.4 83.7 271.5C92.4 291.7 92.4 313.1 82.3 333.4C80.4 337 75.7 341.5 75.5 345.4C75.4 347.6 76.5 349.7 78.6 350.8C81 352.1 118.1 359.4 121.6 359.4C124.2 359.3 126.6 358.2 127.8 356.3C131.6 350.5 132.7 306.3 132.7 297.4C132.6 279.7 129.6 262.3 122.8 245.9C121.5 242.7 120.5 238.4 117.2 236.7C111.3 233.8 90.8 229.6 83.2 227.5C77 225.9 58.5 219.7 53.3 220.2Z",
  mid_lateral:
    "M136.1 242.3C133 242.5 130.5 244.8 130.1 247.8C129.5 251.4 133.9 262.7 134.8 267.1C135.8 272.1 136.6 277.2 137.2 282.3C139.5 305.1 137.2 328 135 350.5C134.7 353.3 133.7 356.5 135.4 359.1C136.2 360.5 137.5 361.5 139.2 362.1C143.7 363.9 177.7 368.7 182.5 368.4C192.8 367.5 186.2 355.2 184.2 349.6C176.7 326.6 175.8 304.2 180.2 281.5C181.6 274.4 184.5 267.2 185.3 260C185.5 257.8 184.8 255.6 183 254.1C182.1 253.3 138.3 242.2 136.1 242.3Z",
  fore_medial:
    "M63.6 92.7C58.2 93 25.2 98.3 22.8 101.2C18.7 106.1 17.6 135.1 17.6 142.6C17.5 163.1 18.6 184.4 28.8 202.7C30.1 205.1 31.5 208.3 33.9 209.8C37.9 212 48.4 213.2 53.3 214.4C58.6 215.7 67.3 219.3 72.6 219C76.7 218.9 79 215.3 78.7 211.5C78.2 203.4 76.4 195.3 75.4 187.4C73.2 170.6 71.3 153.7 70.7 136.8C70.5 129.9 71.9 101 70.5 97C69.5 94 66.7 92.5 63.6 92.7Z",
  fore_centre:
    "M103.8 88.6C98 88.5 79.4 87.9 76.8 93.7C75.6 96.3 76.1 99.7 76 102.4C75.8 109 75.7 115.7 75.7 122.3C75.7 135 81.1 217.1 87.1 222.5C89 224.1 125.2 234.1 129.4 234.6C133.4 235 136.5 232.2 136.8 228.3C137.5 220.4 136.5 212 136.4 204C136.1 185.7 135.7 167.3 135.4 148.9C135.1 136.5 134.8 124 134.5 111.5C134.3 106.6 134.9 100.9 134 96.1C133.7 94.6 133.1 93.3 132 92.3C128.4 89 109.2 88.6 103.8 88.6Z",
  fore_lateral:
    "M145 93.8C141.9 94.3 139.8 96.8 139.4 99.8C138.7 105.4 139.7 111.7 139.8 117.4C140.2 130.6 140.5 143.8 140.7 157C141.1 174.6 141.4 192.2 141.7 209.9C141.9 217.7 140.9 226.4 142.2 234.1C142.4 235.6 143 236.8 144.1 237.9C147.4 241.2 176.5 247.3 182.3 247.8C184.6 248 186.7 247.4 188.2 245.6C190.8 242.6 191 236.7 191.9 233C197.2 210.9 201.4 188.4 201.5 165.6C201.6 155.3 197.6 111.7 191.8 105.1C188.3 101.2 172.1 99.1 166.6 97.9C161.5 96.9 149.6 93.2 145 93.8Z",
  toe_medial:
    "M91 11.9C86 12.1 80.7 14.1 76.2 16C52.9 26.1 37.1 48.2 29.4 71.8C28 76.1 25.2 82.1 25.6 86.7C25.9 89.7 28.3 92.1 31.3 92.5C36.6 93.2 70.5 86.2 79.2 85.1C83.8 84.5 92.7 84.9 96.6 83C98.7 82 100 80.1 100.3 77.8C100.8 73.6 98.9 18.7 98 16.2C96.9 13.1 94 11.8 91 11.9Z",
  toe_lateral:
    "M109.4 13.5C105.1 13.9 103.6 17.6 103.6 21.4C103.8 29.3 104.3 77.2 106.6 80.7C107.4 82 108.6 82.9 110 83.3C112.7 84.2 116 83.9 118.8 84.2C125.4 84.9 131.9 85.8 138.4 87C148.6 88.8 158.6 91 168.7 93.1C172.2 93.8 175.9 95.1 179.4 95.4C183.3 95.8 186.8 93.2 186.9 89.2C187 84 182.7 77.3 180.6 72.8C167.7 46.3 154.6 28.8 126.4 18.2C121.6 16.4 114.6 13 109.4 13.5Z",
};

// Where a zone's digit stands.
const AT = {
  heel_medial: [58.4, 410.3],
  heel_centre: [114.1, 407.4],
  heel_lateral: [167.8, 418.7],
  mid_medial: [103.3, 271.6],
  mid_lateral: [158.1, 285.2],
  fore_medial: [46.2, 159.6],
  fore_centre: [106.2, 139.8],
  fore_lateral: [170.3, 161.2],
  toe_medial: [69.5, 56.6],
  toe_lateral: [136.6, 57.0],
};

// mirror turns the path of a left shoe into that of a right one. Paths hold absolute M, C and Z only.
function mirror(path) {
  let even = true;
  return path.replace(/-?[\d.]+/g, (n) => {
    const out = even ? String(Math.round((WIDTH - n) * 10) / 10) : n;
    even = !even;
    return out;
  });
}

const BOTH = (make) => ({ left: make((p) => p, (x) => x), right: make(mirror, (x) => WIDTH - x) });

// OUTLINE, SHAPE and POINT are by shoe, then by zone.
export const OUTLINE = BOTH((path) => path(RIM));
export const SHAPE = BOTH((path) => Object.fromEntries(ZONES.map((z) => [z, path(PATH[z])])));
export const POINT = BOTH((_, x) => Object.fromEntries(ZONES.map((z) => [z, [x(AT[z][0]), AT[z][1]]])));

// BOX is the view box of one shoe or of the pair.
export const BOX = { left: "0 0 222 500", right: "258 0 222 500", both: "0 0 480 500" };

// partOf and edgeOf split a zone's column: fore_medial is of the part fore, at the edge medial.
export const partOf = (zone) => zone.split("_")[0];
export const edgeOf = (zone) => zone.split("_")[1];

// zoneId is the id a zone carries on screen: r-forefoot-medial for the right shoe's fore_medial.
export function zoneId(shoe, zone) {
  const part = { heel: "heel", mid: "midfoot", fore: "forefoot", toe: "toe" }[partOf(zone)];
  return `${shoe[0]}-${part}-${edgeOf(zone)}`;
}

// neighbour returns the zone that lies in the direction of an arrow key, over both shoes, or null.
export function neighbour(shoe, zone, key) {
  const [x, y] = POINT[shoe][zone];
  const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[key];
  let best = null, least = Infinity;
  for (const s of ["left", "right"]) {
    for (const z of ZONES) {
      const [px, py] = [POINT[s][z][0] - x, POINT[s][z][1] - y];
      const along = px * dx + py * dy, across = Math.abs(px * dy) + Math.abs(py * dx);
      if (along < 12 || (dy && s !== shoe)) continue;
      const cost = along + 2.5 * across;
      if (cost < least) [best, least] = [{ shoe: s, zone: z }, cost];
    }
  }
  return best;
}
