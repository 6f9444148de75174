// A visit begun at the water is one of today. What the phone keeps of an earlier one is put in afterwards.
const day = document.querySelector("form[data-bank-form] [name=visited_on]");

// The Swedish way of writing a day is the one that date fields read, in the phone's own time.
if (day && !day.value) day.value = new Date().toLocaleDateString("sv");
