;;; habitat-mode.el --- modes for habitat plans and rules -*- lexical-binding: t -*-
;; Made of the language's own words by tests/editor/syntax_files.py; do not edit it, make it again.

(defvar habitat-mode-keywords
  (list
   (cons (concat "^" (regexp-opt '("inspection" "treatment" "boundary" "planting" "include" "opening" "release" "setback" "hazard" "pocket" "timber" "drain" "level" "patch" "place" "rates" "slope" "stand" "storm" "trees" "waive" "winds" "core" "crew" "food" "path" "plan" "sign" "task" "tree" "work" "mix" "row" "set" "use") t) "\\_>") '(1 font-lock-keyword-face))
   (cons (concat "^[ \t]+" (regexp-opt '("stump-treatment" "crown-ratio" "crown-width" "declination" "tree-height" "basal-area" "cut-height" "condition" "corridors" "accuracy" "controls" "currency" "distance" "drawn-by" "leaf-out" "log-rule" "per-hack" "training" "aquatic" "barrier" "density" "forbids" "offsite" "outline" "picture" "purpose" "reentry" "spacing" "species" "anchor" "height" "hunted" "market" "method" "people" "period" "radius" "source" "stumps" "toward" "after" "alive" "alone" "class" "count" "cover" "falls" "found" "hours" "label" "leave" "north" "range" "reach" "shoot" "stage" "state" "units" "width" "winds" "calm" "cost" "crop" "date" "done" "fall" "from" "gear" "keep" "kind" "lean" "line" "most" "note" "part" "pays" "side" "step" "text" "wood" "year" "bed" "dbh" "for" "mix" "sit" "use" "why" "at" "by" "in" "of" "to") t) "\\_>") '(1 font-lock-variable-name-face))
   (cons (concat "[ (]" (regexp-opt '("thousand-board-feet" "hack-and-squirt" "international" "neighbour" "treatment" "as-built" "boundary" "building" "computed" "corridor" "crossing" "firewood" "leaf-out" "magnetic" "scribner" "standing" "against" "because" "bedding" "evening" "landing" "meeting" "morning" "natural" "parking" "planned" "planted" "release" "vehicle" "version" "warning" "around" "beside" "browse" "canopy" "design" "girdle" "hollow" "logger" "scrape" "screen" "toward" "travel" "along" "block" "blown" "bucks" "cover" "doyle" "entry" "error" "every" "fence" "frill" "hinge" "leave" "litre" "right" "sound" "split" "storm" "trail" "until" "water" "width" "away" "bank" "cord" "crop" "dead" "does" "done" "down" "edge" "exit" "fell" "floz" "from" "gate" "hour" "hung" "left" "logs" "mast" "none" "note" "pack" "plot" "road" "then" "tree" "true" "wire" "work" "all" "and" "any" "bed" "cut" "gal" "off" "per" "rub" "yes" "at" "by" "ft" "no" "on" "pt" "qt" "to" "yd" "m") t) "\\_>") '(1 font-lock-constant-face))
   '("\\_<-?[0-9]+\\(?:\\.[0-9]+\\)?\\(?: ?\\(?:per acre\\|floz/ac\\|sqft/ac\\|gal/ac\\|per ha\\|sqm/ha\\|hours\\|mL/ha\\|pt/ac\\|qt/ac\\|weeks\\|years\\|L/ha\\|days\\|floz\\|hour\\|sqft\\|sqyd\\|week\\|year\\|day\\|deg\\|gal\\|kmh\\|m/s\\|mph\\|sqm\\|ac\\|cm\\|ft\\|ha\\|in\\|kn\\|mL\\|pt\\|qt\\|yd\\|L\\|m\\)\\|%\\)?" . font-lock-constant-face)))

;;;###autoload
(define-derived-mode habitat-mode prog-mode "Habitat plan"
  (modify-syntax-entry ?# "<") (modify-syntax-entry ?\n ">") (modify-syntax-entry ?- "_")
  (setq-local comment-start "# " indent-line-function #'indent-relative
              font-lock-defaults '(habitat-mode-keywords)))

;;;###autoload
(add-to-list 'auto-mode-alist '("\\.habitat\\'" . habitat-mode))

(defvar habitat-rules-mode-keywords
  (list
   (cons (concat "^" (regexp-opt '("broken" "mended" "kept" "pack" "rule") t) "\\_>") '(1 font-lock-keyword-face))
   (cons (concat "^[ \t]+" (regexp-opt '("stump-treatment" "crown-ratio" "crown-width" "declination" "tree-height" "basal-area" "cut-height" "builds-on" "condition" "corridors" "accuracy" "controls" "currency" "distance" "drawn-by" "formerly" "leaf-out" "log-rule" "per-hack" "requires" "training" "aquatic" "barrier" "because" "density" "forbids" "licence" "measure" "offsite" "outline" "picture" "purpose" "reentry" "spacing" "species" "version" "anchor" "author" "height" "hunted" "leaves" "market" "method" "people" "period" "radius" "remove" "report" "safety" "source" "stumps" "toward" "about" "after" "alive" "alone" "class" "count" "cover" "falls" "found" "hours" "label" "leave" "level" "limit" "needs" "north" "range" "reach" "shoot" "split" "stage" "state" "takes" "title" "units" "where" "width" "winds" "also" "calm" "cost" "crop" "date" "done" "each" "fall" "from" "gear" "keep" "kind" "lean" "line" "list" "many" "mark" "mend" "most" "move" "note" "part" "pays" "side" "step" "text" "turn" "wood" "year" "add" "bed" "dbh" "for" "mix" "per" "say" "set" "sit" "use" "why" "at" "by" "in" "of" "to") t) "\\_>") '(1 font-lock-variable-name-face))
   (cons (concat "[ (]" (regexp-opt '("thousand-board-feet" "common-practice" "hack-and-squirt" "international" "regulation" "extension" "neighbour" "treatment" "analogue" "as-built" "boundary" "building" "computed" "corridor" "crossing" "firewood" "leaf-out" "magnetic" "scribner" "smallest" "standing" "against" "because" "bedding" "evening" "journal" "landing" "largest" "meeting" "morning" "natural" "parking" "planned" "planted" "release" "vehicle" "version" "warning" "around" "beside" "browse" "canopy" "design" "girdle" "hollow" "logger" "scrape" "screen" "toward" "travel" "within" "after" "along" "block" "blown" "bucks" "clear" "count" "cover" "doyle" "entry" "error" "every" "fence" "frill" "hinge" "leave" "litre" "right" "share" "sound" "split" "storm" "trail" "until" "water" "width" "away" "bank" "cord" "crop" "dead" "does" "done" "down" "edge" "exit" "fell" "floz" "from" "gate" "hour" "hung" "left" "logs" "many" "mast" "none" "note" "pack" "plot" "road" "then" "tree" "true" "when" "wire" "with" "work" "all" "and" "any" "bed" "cut" "for" "gal" "not" "off" "per" "rub" "say" "set" "sum" "yes" "at" "by" "ft" "in" "is" "no" "of" "on" "or" "pt" "qt" "to" "yd" "m") t) "\\_>") '(1 font-lock-constant-face))
   '("\\_<-?[0-9]+\\(?:\\.[0-9]+\\)?\\(?: ?\\(?:per acre\\|floz/ac\\|sqft/ac\\|gal/ac\\|per ha\\|sqm/ha\\|hours\\|mL/ha\\|pt/ac\\|qt/ac\\|weeks\\|years\\|L/ha\\|days\\|floz\\|hour\\|sqft\\|sqyd\\|week\\|year\\|day\\|deg\\|gal\\|kmh\\|m/s\\|mph\\|sqm\\|ac\\|cm\\|ft\\|ha\\|in\\|kn\\|mL\\|pt\\|qt\\|yd\\|L\\|m\\)\\|%\\)?" . font-lock-constant-face)))

;;;###autoload
(define-derived-mode habitat-rules-mode prog-mode "Habitat rules"
  (modify-syntax-entry ?# "<") (modify-syntax-entry ?\n ">") (modify-syntax-entry ?- "_")
  (setq-local comment-start "# " indent-line-function #'indent-relative
              font-lock-defaults '(habitat-rules-mode-keywords)))

;;;###autoload
(add-to-list 'auto-mode-alist '("\\.rules\\'" . habitat-rules-mode))

(provide 'habitat-mode)
;;; habitat-mode.el ends here
