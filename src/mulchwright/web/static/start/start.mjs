// First steps: when a list of towns or a message has come, it is brought into view for who looked them up.
const found = document.querySelector(".found-towns button");
if (found) found.focus();
