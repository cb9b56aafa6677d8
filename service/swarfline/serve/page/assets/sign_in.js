// A link for a screen bears its token behind the #, which browsers send to nobody: so it stands in no log.
const told = new URLSearchParams(location.hash.slice(1));
const form = document.getElementById("by-token");
if (form && told.get("token")) {
  history.replaceState(null, "", location.pathname);
  form.elements.token.value = told.get("token");
  if (told.get("to")) form.elements.to.value = told.get("to");
  form.requestSubmit();
}
