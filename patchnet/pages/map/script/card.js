// The card of one plot: what it has, what the neighbours give, how each group stands here.

const MOST_GIVERS = 3;
const MOST_LOOKS = 5;

// What one unit of a feature gives of a resource, by month (12 numbers) or null.
const givesOf = F.map((feature) => new Map(feature.gives.map(([at, code]) => [at, numbers(code)])));

function gives(feature, resource, wanted) {
  const byMonth = givesOf[feature].get(resource);
  return Boolean(byMonth) && wanted.some((month) => byMonth[month - 1] > 0);
}

// Features known on a plot that give a resource in one of the months.
const giving = (plot, suppliers) => suppliers.filter((at) => amounts(at)[plot] > 0);

function givers(plot, near, resource, wanted, reach) {
  const suppliers = F.map((_, at) => at).filter((at) => gives(at, resource, wanted));
  const here = giving(plot, suppliers);
  const there = near.filter(([other, gap]) => gap <= reach && giving(other, suppliers).length);
  const unknown = near.filter(
    ([other, gap]) => gap <= reach && suppliers.some((at) => F[at].answers[other] === "?"),
  );
  return { here, there, suppliers, unknown: unknown.length };
}

const featureNames = (list) => listed(list.slice(0, 3).map((at) => inSentence(F[at].name))) + (list.length > 3 ? W.and_more : "");

function giverItem(title, plot, near, resource, wanted, reach) {
  const { here, there, suppliers, unknown } = givers(plot, near, resource, wanted, reach);
  const list = el("ul", {});
  if (here.length) list.append(el("li", {}, fill(W.gives_here, { features: featureNames(here) })));
  for (const [other, gap] of there.slice(0, MOST_GIVERS)) {
    const words = fill(W.gives_there, {
      features: featureNames(giving(other, suppliers)),
      plot: own(label(other)),
      distance: awayBy(gap),
    });
    list.append(el("li", {}, words));
  }
  const rest = there.length - MOST_GIVERS;
  if (rest > 0) list.append(el("li", {}, fill(W.gives_more, { plots: plural(rest, W.plot, W.plots) })));
  if (!here.length && !there.length) list.append(el("li", {}, W.gives_nobody));
  if (unknown) list.append(el("li", { class: "unsure" }, fill(W.gives_unknown, { plots: plural(unknown, W.plot, W.plots) })));
  return el("div", { class: "giver" }, el("h4", {}, title), list);
}

function ownFeatures(plot) {
  const has = F.map((_, at) => at).filter((at) => amounts(at)[plot] > 0);
  const unknown = F.filter((feature) => feature.answers[plot] === "?");
  const parts = [
    has.length
      ? el("ul", { class: "has" }, ...has.map((at) => el("li", {}, F[at].name + ": " + answerWords(at, plot))))
      : el("p", {}, W.has_nothing),
  ];
  if (unknown.length) {
    const names = listed(unknown.map((feature) => inSentence(feature.name)));
    parts.push(
      el(
        "details",
        { class: "unsure-box" },
        el("summary", {}, fill(W.unknown_here, { n: unknown.length, all: F.filter((one) => !one.unseen).length })),
        el("p", {}, names + "."),
      ),
    );
  }
  const assumed = F.filter((one) => one.assumed >= 0 && one.answers[plot] === "~" && column(one.assumed)[plot] > 0);
  if (assumed.length) {
    const named = assumed.map((one) => inSentence(one.name) + " " + amountWords(one, column(one.assumed)[plot]));
    parts.push(el("p", { class: "unsure" }, fill(W.assumed_here, { things: listed(named) })));
  }
  // Protected roosts are not told to all who see this page; what to mind there is told of every plot.
  const cautions = [...new Set([...has.flatMap((at) => F[at].cautions), ...DATA.unseen])];
  return { parts, cautions: cautions.filter((key) => key !== "none").map((key) => DATA.cautions[key]) };
}

// One cell a month: how many homes the flowers are enough for, and whether it is hungry.
function monthRow(group, plot) {
  const flowers = group.needs.filter((need) => need.byMonth.length);
  if (!flowers.length) return null;
  const cells = new Map();
  for (const need of flowers) {
    need.months.forEach((month, at) => {
      const enough = column(need.byMonth[at])[plot];
      const hungry = Boolean(need.hungry && whole(need.hungry, plot) & (1 << (month - 1)));
      const known = cells.get(month);
      if (!known || enough < known.enough) cells.set(month, { enough, hungry: hungry || Boolean(known && known.hungry) });
    });
  }
  const heads = [];
  const body = [];
  const hungry = [];
  for (let month = 1; month <= 12; month += 1) {
    const cell = cells.get(month);
    heads.push(el("th", { scope: "col" }, el("abbr", { title: W.months[month - 1] }, W.months[month - 1].slice(0, 3))));
    if (cell && cell.hungry) hungry.push(month);
    body.push(
      cell
        ? el(
            "td",
            { class: cell.hungry ? "hungry" : null },
            num(cell.enough) + " ",
            cell.hungry ? el("span", { class: "hungry-word" }, W.hungry) : null,
          )
        : el("td", { class: "unneeded" }, el("span", { class: "quiet" }, W.month_off)),
    );
  }
  return el(
    "div",
    {},
    el("p", { class: "after-table" }, hungry.length ? fill(W.hungry_here, { months: months(hungry) }) : W.hungry_none_here),
    el("p", { class: "under" }, W.month_caption),
    el(
      "div",
      { class: "scroll", tabindex: 0, role: "region", "aria-label": fill(W.month_table, { group: group.name }) },
      el(
        "table",
        { class: "months", "aria-label": fill(W.month_table, { group: group.name }) },
        el("thead", {}, el("tr", {}, ...heads)),
        el("tbody", {}, el("tr", {}, ...body)),
      ),
    ),
  );
}

function balance(group, plot) {
  const scarce = scarcestAt(group, plot);
  const word = () => el("strong", { class: "scarce" }, W.scarcest);
  const within = column(group.roomWithin)[plot];
  const rows = [
    el(
      "tr",
      { class: scarce === 0 ? "scarcest" : null },
      el("th", { scope: "row" }, needName(group, 0), " ", scarce === 0 ? word() : null),
      el("td", {}, fill(W.room_cell, { room: num(within), reach: group.anchorReach })),
      el("td", { class: "number" }, W.none),
    ),
    ...group.needs.map((need, at) => {
      const [enough, low, high, room, met] = ["enough", "low", "high", "room", "met"].map((key) => column(need[key])[plot]);
      const doubt = num(low) === num(high) ? "" : " " + fill(DATA.draws ? W.low_high_drawn : W.low_high_words, { low: num(low), high: num(high) });
      return el(
        "tr",
        { class: scarce === at + 1 ? "scarcest" : null },
        el(
          "th",
          { scope: "row" },
          need.name,
          " ",
          el("span", { class: "under" }, fill(W.need_under, { months: months(need.months), reach: inFull(need.reach) })),
          " ",
          scarce === at + 1 ? word() : null,
        ),
        el("td", {}, fill(W.enough_cell, { enough: homes(enough), room: num(room) }) + doubt),
        el("td", { class: "number" }, fill(W.percent, { n: num(met * 100) })),
      );
    }),
  ];
  const heads = [W.head_need, W.head_enough_room, W.head_met].map((head, at) =>
    el("th", { scope: "col", class: at === 2 ? "number" : null }, head),
  );
  const [held, low, high] = ["homes", "low", "high"].map((key) => column(group[key])[plot]);
  return [
    el(
      "p",
      {},
      fill(W.balance_words, {
        homes: range(low, held, high),
        room: num(column(group.room)[plot]),
        home: group.home,
      }),
    ),
    el("table", { class: "balance" }, el("thead", {}, el("tr", {}, ...heads)), el("tbody", {}, ...rows)),
    monthRow(group, plot),
  ].filter(Boolean);
}

function giversOf(groups, plot) {
  const wanted = [];
  const seen = new Map();
  for (const group of groups) {
    const all = [
      ...group.anchorAt.map((resource, at) => ({ resource, months: W.months.map((_, m) => m + 1), reach: group.anchorReach, name: group.anchor[at] })),
      ...group.needs.map((need) => ({ ...need, name: groups.length === 1 ? need.name : DATA.resources[need.resource][0] })),
    ];
    for (const need of all) {
      if (groups.length === 1) {
        wanted.push(need);
      } else if (!seen.has(need.resource)) {
        seen.set(need.resource, { ...need, name: DATA.resources[need.resource][0] });
        wanted.push(seen.get(need.resource));
      } else {
        const known = seen.get(need.resource);
        known.reach = Math.max(known.reach, need.reach);
        known.months = [...new Set([...known.months, ...need.months])].sort((a, b) => a - b);
      }
    }
  }
  const near = neighbours(plot, Math.max(...wanted.map((need) => need.reach)));
  const title = (need) =>
    fill(W.giver_title, { need: need.name, months: months(need.months), reach: inFull(need.reach) });
  return wanted.map((need) => {
    const there = groups.length === 1 ? gotTo(groups[0], plot, near, need.reach) : near;
    return giverItem(title(need), plot, there, need.resource, need.months, need.reach);
  });
}

function whereToLook(plot) {
  const unknown = (other) => F.filter((feature) => feature.answers[other] === "?").length;
  const widest = Math.max(...G.flatMap((group) => [group.anchorReach, ...group.needs.map((need) => need.reach)]));
  const near = neighbours(plot, widest).filter(([other]) => unknown(other) > 0);
  const parts = [];
  if (unknown(plot)) parts.push(el("li", {}, fill(W.look_here, { n: unknown(plot) })));
  for (const [other, gap] of near.slice(0, MOST_LOOKS)) {
    parts.push(el("li", {}, fill(W.look_there, { plot: own(label(other)), distance: awayBy(gap), n: unknown(other) })));
  }
  if (near.length > MOST_LOOKS) parts.push(el("li", {}, fill(W.look_more, { n: near.length - MOST_LOOKS })));
  return parts.length ? el("ul", {}, ...parts) : el("p", {}, W.look_nowhere);
}

function distanceWords(view) {
  if (view.group === ALL) return W.distance_words_all;
  const group = G[view.group];
  if (!group.ground) return "";
  return fill(W.distance_words_ground, { hop: inFull(group.hop) });
}

// What the plan of the whole street counts on this plot for.
function togetherOf(plot) {
  if (!DATA.together) return [];
  const lines = DATA.together[plot];
  const told = lines.length ? lines : [W.together_nothing];
  return [el("h3", {}, W.card_together), ...told.map((words) => el("p", {}, words))];
}

function cardOf(plot, view) {
  const first = view.group === ALL ? [] : [G[view.group]];
  const others = G.filter((group) => !first.includes(group));
  const { parts, cautions } = ownFeatures(plot);
  const about = [P.kinds[P.kind[plot]], street(plot) ? own(street(plot)) : "", fill(W.square_metres, { n: num(column(P.area)[plot]) }), fill(W.id_words, { id: own(P.id[plot]) })];
  return [
    el("p", { class: "under" }, about.filter(Boolean).join(" · ")),
    el("h3", {}, W.card_has),
    ...parts,
    cautions.length ? el("h3", {}, W.card_cautions) : null,
    cautions.length ? el("ul", { class: "cautions" }, ...cautions.map((words) => el("li", {}, sentence(words)))) : null,
    ...sunOf(plot),
    el("h3", {}, view.group === ALL ? W.card_gives_all : fill(W.card_gives, { group: G[view.group].name })),
    el("p", { class: "under" }, distanceWords(view) || fill(W.distance_words, { hop: inFull(G[view.group].hop) })),
    ...giversOf(view.group === ALL ? G : first, plot),
    el("h3", {}, W.card_balance),
    ...first.flatMap((group) => [el("h4", {}, group.name), ...balance(group, plot)]),
    ...others.map((group) => {
      const box = el(
        "details",
        { class: "sheet" },
        el("summary", {}, fill(W.sheet_summary, { group: group.name, homes: num(column(group.homes)[plot]), need: needName(group, scarcestAt(group, plot)) })),
      );
      // Fifteen sheets at once would keep a phone waiting: each is made when it is opened.
      box.addEventListener("toggle", () => {
        if (box.open && box.children.length === 1) box.append(...balance(group, plot));
      });
      return box;
    }),
    el("h3", {}, W.card_look),
    whereToLook(plot),
  ].filter(Boolean);
}
