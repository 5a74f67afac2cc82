// First steps: the browser knows the time zone and most likely the units; both stay open to change.
const form = document.querySelector("[data-place]");
if (form) {
  const zone = form.elements.namedItem("timezone");
  if (!zone.value) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
  const name = form.elements.namedItem("name");
  const units = form.elements.namedItem("units");
  if (!name.value && navigator.language === "en-US") units.value = "us";
}
