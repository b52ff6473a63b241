(add-to-list 'load-path "~/habitatlint/examples/editors/emacs")
(require 'habitat-mode)
(with-eval-after-load 'eglot
  (add-to-list 'eglot-server-programs '((habitat-mode habitat-rules-mode) . ("habitatlint" "language-server"))))
(add-hook 'habitat-mode-hook #'eglot-ensure)
