// A page without its code: this tab may still have it. One that was refused is of an earlier run.
const KEPT = "codes";
const kept = sessionStorage.getItem(KEPT);
sessionStorage.removeItem(KEPT);
if (location.search) document.getElementById("why").textContent = "This address is of an earlier run: open the new one";
else if (kept) location.replace(`/${kept}`);
