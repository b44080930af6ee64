// Schedules to begin with, by trade task. Values are common practice: the maker's sheet of powder, varnish, steel, clay or
// glass decides. What this oven cannot or may not do is said by the check, as for any schedule.
export const TEMPLATES = [
  ["A cure", "coating or adhesive on metal, timed by the chamber", "steps:\n  - {name: heat and cure, to: 180 °C, hold: 20 min}\n  - {name: cool, to: 60 °C, let cool: yes}\n"],
  ["Drying", "water out of parts, slowly", "steps:\n  - {name: warm, to: 60 °C, at: 60 °C/h, hold: 30 min}\n  - {name: dry, to: 105 °C, at: 60 °C/h, hold: 2 h}\n"],
  ["Tempering steel", "after hardening; colour and hardness follow the temperature", "steps:\n  - {name: temper, to: 200 °C, hold: 2 h}\n  - {name: cool, to: 80 °C, let cool: yes}\n"],
  ["Warm and hold", "keep parts or moulds warm until they are needed", "steps:\n  - {name: keep warm, to: 80 °C, hold: 4 h, within: 5 K}\n"],
  ["Ceramic firing", "slow through moisture and the quartz change", "steps:\n  - {name: moisture, to: 120 °C, at: 80 °C/h, hold: 30 min, within: 5 K}\n  - {name: quartz change, to: 600 °C, at: 120 °C/h, hold: 20 min, within: 5 K}\n  - {name: fire, to: 980 °C, at: 150 °C/h, hold: 20 min, within: 5 K}\n  - {name: cool, to: 500 °C, let cool: yes}\ntoo fast: stretch\n"],
  ["Annealing glass", "relieve stress, then cool slowly", "steps:\n  - {name: anneal, to: 515 °C, at: 150 °C/h, hold: 1 h}\n  - {name: slowly past the strain point, to: 400 °C, at: 30 °C/h}\n  - {name: cool, to: 80 °C, at: 80 °C/h}\ntoo fast: stretch\n"],
];
export const textOf = ([name, about, steps]) => `schedule: ${name}\nabout: ${about}\n${steps}`;
