// Fill in proof voltage and seconds again when supply or purpose change, unless somebody typed another value.
// The values come with the page; nothing is worked out here. Without this script a button does the same.
"use strict";
{
  const form = document.querySelector("form[data-fills]");
  const fills = JSON.parse(form.dataset.fills);
  const refill = (name, key) => {
    const field = form.elements[name];
    const known = fills[name];
    if (field && known[key] && (!field.value || Object.values(known).includes(field.value))) {
      field.value = known[key];
    }
  };
  form.addEventListener("change", (event) => {
    if (event.target.name === "supply") refill("applied_kv", event.target.value);
    if (event.target.name === "purpose") refill("seconds", event.target.value);
  });
  form.querySelector("button[name=fill]").hidden = true;
}
