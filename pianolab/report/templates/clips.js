"use strict";
(function () {
  /* Clips: one plays at a time; a row can be played from left to right. */
  const sounds = Array.from(document.querySelectorAll("audio[data-name]"));
  let row = [];

  function stopOthers(sound) {
    sounds.forEach(function (other) { if (other !== sound && !other.paused) { other.pause(); other.currentTime = 0; } });
  }

  /* What is seen comes first in the name, so that who speaks to the page can say what they see. */
  function buttonFor(seen, more) {
    const button = document.createElement("button"), rest = document.createElement("span");
    button.type = "button";
    rest.className = "unseen";
    rest.textContent = more;
    button.append(seen, rest);
    return button;
  }

  sounds.forEach(function (sound) {
    const button = buttonFor(sound.dataset.seconds + " s", ": play " + sound.dataset.name);
    const bar = document.createElement("span"), rest = button.querySelector(".unseen");
    button.className = "play";
    bar.className = "progress";
    button.append(bar);
    sound.removeAttribute("controls");
    sound.after(button);
    button.addEventListener("click", function () {
      row = [];
      if (sound.paused) { stopOthers(sound); sound.currentTime = 0; sound.play(); } else { sound.pause(); }
    });
    sound.addEventListener("play", function () { button.classList.add("on"); rest.textContent = ": stop " + sound.dataset.name; });
    ["pause", "ended"].forEach(function (name) {
      sound.addEventListener(name, function () {
        button.classList.remove("on");
        bar.style.width = "0";
        rest.textContent = ": play " + sound.dataset.name;
      });
    });
    sound.addEventListener("timeupdate", function () {
      bar.style.width = String(100 * sound.currentTime / (sound.duration || Number(sound.dataset.seconds))) + "%";
    });
    sound.addEventListener("ended", function () {
      const next = row.shift();
      if (next) { next.currentTime = 0; next.play(); }
    });
  });

  document.querySelectorAll("td.turn").forEach(function (cell) {
    const own = Array.from(cell.parentElement.querySelectorAll("audio"));
    if (own.length < 2) return;
    const button = buttonFor("In turn", ": play " + (cell.dataset.play || cell.dataset.note + " of all instruments"));
    button.addEventListener("click", function () {
      stopOthers(null);
      row = own.slice(1);
      own[0].currentTime = 0;
      own[0].play();
    });
    cell.append(button);
  });
})();
