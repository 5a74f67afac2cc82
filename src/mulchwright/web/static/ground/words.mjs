// Lengths and areas in the grower's units: the same words as the pages that the program writes itself
// (a test holds this module to them).
import { FOOT_M, INCH_M } from "../shared/units.mjs";

const PARTS = ["", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"];

function figure(value, decimals) {
  let text = value.toFixed(decimals);
  if (text.includes(".")) text = text.replace(/0+$/, "").replace(/\.$/, "");
  return text === "-0" ? "0" : text;
}

export function showLength(meters, system) {
  if (system !== "us") {
    if (meters < 0.00995) return `${figure(meters * 1000, meters < 0.002 ? 1 : 0)} mm`;
    if (meters < 0.995) return `${figure(meters * 100, meters < 0.3 ? 1 : 0)} cm`;
    return `${figure(meters, meters < 10 ? 2 : meters < 100 ? 1 : 0)} m`;
  }
  const inches = meters / INCH_M;
  if (inches < 23.9375) {
    const steps = inches < 12 ? 8 : 2;
    const eighths = (Math.round(inches * steps) * 8) / steps;
    const whole = Math.floor(eighths / 8);
    const part = PARTS[eighths % 8];
    return `${whole || !part ? whole : ""}${part} in`;
  }
  if (inches >= 240) return `${(inches / 12).toFixed(0)} ft`;
  const all = Math.round(inches);
  return all % 12 ? `${Math.floor(all / 12)} ft ${all % 12} in` : `${all / 12} ft`;
}

export function showArea(squareMeters, system) {
  const value = system === "us" ? squareMeters / FOOT_M ** 2 : squareMeters;
  const [toHundredths, toTenths] = system === "us" ? [1, 30] : [10, 100];
  const decimals = Math.abs(value) < toHundredths ? 2 : Math.abs(value) < toTenths ? 1 : 0;
  return `${figure(value, decimals)} ${system === "us" ? "ft²" : "m²"}`;
}

export const showPlace = ([x, y], system) =>
  `${showSigned(x, system)} right, ${showSigned(y, system)} up`;

const showSigned = (meters, system) => (meters < 0 ? "−" : "") + showLength(Math.abs(meters), system);

// The steps of the grid on offer, in meters.
export const gridSteps = (system) => (system === "us" ? [2 * INCH_M, 4 * INCH_M, 12 * INCH_M] : [0.05, 0.1, 0.5]);

// Lengths for the scale bar and the lines of the grid.
export const roundLengths = (system) => [0.1, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500].map((step) => step * (system === "us" ? FOOT_M : 1));
