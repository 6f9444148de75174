// What a kick consists of, and what comes after it: plain values in and out, no clock and no page.
export const COUNTDOWN = 3;

// The signs of one kick, in milliseconds from its start: minus three to minus one, start, each second, stop.
export function marksOf(seconds) {
  const marks = [];
  for (let number = -COUNTDOWN; number <= seconds; number += 1) {
    marks.push({ at: number * 1000, number, kind: kindOf(number, seconds) });
  }
  return marks;
}

function kindOf(number, seconds) {
  if (number < 0) return "ready";
  if (number === 0) return "start";
  return number === seconds ? "stop" : "count";
}

// The sign in force at a moment, whatever was missed before it; null before the first.
export function markAt(marks, elapsed) {
  return marks.findLast((mark) => mark.at <= elapsed) ?? null;
}

// Milliseconds to the next sign; null after the last.
export function untilNext(marks, elapsed) {
  const next = marks.find((mark) => mark.at > elapsed);
  return next ? next.at - elapsed : null;
}

// The log of a spot: kicks in order as {started_at, seconds}; one that still runs, or was lost, has no seconds.
export function readLog(text) {
  try {
    const kicks = JSON.parse(text || "[]");
    return Array.isArray(kicks) ? kicks.filter((kick) => kick?.started_at) : [];
  } catch {
    return [];
  }
}

export const writeLog = (log) => (log.length ? JSON.stringify(log) : "");
export const finished = (log) => log.filter((kick) => Number(kick.seconds) > 0);
export const unfinished = (log) => log.filter((kick) => !(Number(kick.seconds) > 0));

export function kickOf(startedAt, milliseconds = null) {
  const seconds = milliseconds === null ? "" : (Math.max(milliseconds, 1) / 1000).toFixed(3);
  return { started_at: new Date(startedAt).toISOString(), seconds };
}

// A kick takes the place of the one with that index, or stands at the end.
export function withKick(log, kick, index = null) {
  const kicks = finished(log);
  kicks.splice(index ?? kicks.length, index === null ? 0 : 1, kick);
  return kicks;
}

// All kicks together as the form writes it: a tenth of a second, no spare nought.
export function secondsOf(log) {
  const sum = finished(log).reduce((total, kick) => total + Number(kick.seconds), 0);
  return String(Math.round(sum * 10) / 10);
}

// Common practice, no source: a kick is cut short below nine tenths of the plan, as on the sheet of the visit.
export const isCutShort = (seconds, planned) => Number(seconds) < planned * 0.9;

// Where to go on: the current spot while kicks are left there, then the first other planned one; null when done.
// `spots` are {number, made, skipped, typed}; what was typed by hand counts as done.
export function nextSpot(spots, plan, current) {
  const isOpen = (spot) => !spot.typed && spot.number <= plan.spots && spot.made + spot.skipped < plan.kicks;
  const here = spots.find((spot) => spot.number === current);
  if (here && isOpen(here)) return current;
  const after = spots.find((spot) => spot.number > current && isOpen(spot));
  return (after ?? spots.find(isOpen))?.number ?? null;
}

// Fills the places of a sentence: fill("Spot {spot}", {spot: 2}).
export function fill(words, values) {
  return words.replace(/\{(\w+)\}/g, (place, name) => values[name] ?? place);
}
