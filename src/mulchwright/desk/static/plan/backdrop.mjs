export function wakeBackdrop() {}
