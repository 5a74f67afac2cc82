// What an inch and a foot are in meters, by definition; a test holds them to the program's own `units`.
export const INCH_M = 0.0254;
export const FOOT_M = 12 * INCH_M;
