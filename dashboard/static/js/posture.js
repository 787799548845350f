// posture.js owns the band of a foot's posture: by the bands that hold on the day of a fitting, which the office
// publishes. It is pure.

// bandsOn returns the bands that hold on a day, YYYY-MM-DD: of those that have begun the last, or undefined.
export const bandsOn = (versions, day) => (versions ?? []).findLast((v) => v.from <= day);

// bandOf returns the band of a sum by its place, or undefined where there is none.
export function bandOf(bands, sum) {
  const at = bands?.low.findLastIndex((low) => sum >= low) ?? -1;
  return at < 0 ? undefined : at;
}

// today is the tablet's own day.
export const today = (now = new Date()) => new Date(now.getTime() - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 10);
