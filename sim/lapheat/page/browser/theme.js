// Before anything is painted: light or dark as chosen here, else as the system has it.
const chosenTheme = localStorage.getItem("lapheat-theme");
if (chosenTheme === "light" || chosenTheme === "dark") document.documentElement.dataset.theme = chosenTheme;
