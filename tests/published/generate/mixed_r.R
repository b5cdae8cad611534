# Makes ../data/mixed_cases.csv (invented data) and ../data/mixed_r.csv (what lme4 and pbkrtest say of them).
# Run with Debian's r-cran-lme4 and r-cran-pbkrtest, in this folder:   Rscript mixed_r.R
#
# lme4 stops early by default, so each model is fitted by several optimisers with tight tolerances, again from the best
# answer so far, and the likeliest is kept; the script stops when the optimisers disagree on it by more than 1e-7.

suppressMessages({
  library(lme4)
  library(pbkrtest)
})

tiles <- function(batches, each, dips, sessions = 1) {
  frame <- expand.grid(place = seq_len(each), batch = seq_len(batches))
  frame$session <- (frame$batch - 1) %% sessions + 1
  frame$dip <- dips[(frame$place - 1) %% length(dips) + 1]
  frame$tile <- seq_len(nrow(frame))
  frame$scorer <- 1
  frame
}

luck <- function(groups, sd) sd * rnorm(max(groups))[groups]

# Each case: a function that draws its rows, the fixed part of the model, and the groups.
cases <- list(
  balanced = list(function() {
    d <- tiles(6, 4, c(-1, 1))
    d$strength <- ifelse(d$batch %% 2, -1, 1)
    d$y <- 40 - 3 * d$strength - 2 * d$dip + luck(d$batch, 2) + rnorm(24, sd = 1.5)
    d
  }, "strength * dip", "batch"),
  missing_tiles = list(function() {
    d <- tiles(6, 4, c(-1, 1))
    d$strength <- ifelse(d$batch %% 2, -1, 1)
    d$y <- 40 - 3 * d$strength - 2 * d$dip + luck(d$batch, 2) + rnorm(24, sd = 1.5)
    d[-c(2, 9, 11, 18, 24), ]
  }, "strength * dip", "batch"),
  actual_settings = list(function() {
    d <- tiles(6, 6, c(10, 30, 90))
    d$strength <- round(c(2, 4, 8)[(d$batch - 1) %% 3 + 1] * exp(luck(d$batch, 0.04)), 2)
    d$dip <- round(log(d$dip / 30) + rnorm(36, sd = 0.05), 3)
    d$y <- 40 - 1.2 * d$strength - 3 * d$dip + luck(d$batch, 2) + rnorm(36, sd = 1.5)
    d[-c(5, 20), ]
  }, "strength * dip", "batch"),
  batches_and_sessions = list(function() {
    d <- tiles(8, 4, c(10, 20, 40, 80), sessions = 4)
    d$strength <- c(2, 8)[(d$batch + (d$batch > 4)) %% 2 + 1]
    d$dip <- log2(d$dip / 10)
    d$y <- 40 - 0.8 * d$strength - 2 * d$dip + luck(d$batch, 1.5) + luck(d$session, 3) + rnorm(32, sd = 1)
    d[-c(7, 8, 25), ]
  }, "strength + dip", c("batch", "session")),
  batch_tile_and_scorer = list(function() {
    d <- tiles(6, 4, c(10, 40))
    d$strength <- ifelse(d$batch %% 2, 2, 8)
    d$true <- 3 + 0.1 * d$strength + 0.01 * d$dip + luck(d$batch, 0.4) + rnorm(24, sd = 0.4)
    d <- merge(d[c("batch", "session", "tile", "strength", "dip", "true")], data.frame(scorer = 1:3))
    d <- d[order(d$tile, d$scorer), ]
    d$y <- pmin(5, pmax(1, round(2 * (d$true + luck(d$scorer, 0.4) + rnorm(72, sd = 0.3))) / 2))
    d[-c(4, 30, 31, 70), ]
  }, "strength * dip", c("batch", "tile", "scorer")),
  no_batch_noise = list(function() {
    d <- tiles(8, 4, c(-1, 1))
    d$strength <- ifelse(d$batch %% 2, -1, 1)
    d$y <- 40 - 0.5 * d$strength - 2 * d$dip + rnorm(32, sd = 1.5)
    d[-c(3, 10, 21), ]
  }, "strength * dip", "batch"),
  four_alike_batches = list(function() {
    d <- tiles(4, 6, c(-1, 1))
    d$strength <- ifelse(d$batch %% 2, -1, 1)
    noise <- rnorm(24, sd = 1)
    d$y <- 40 - 0.7 * d$strength + 0.1 * d$dip + noise - 0.8 * ave(noise, d$batch)
    d
  }, "strength * dip", "batch"),
  large_batch_noise = list(function() {
    d <- tiles(6, 4, c(-1, 1))
    d$strength <- ifelse(d$batch %% 2, -1, 1)
    d$y <- 40 - 3 * d$strength - 0.4 * d$dip + luck(d$batch, 25) + rnorm(24, sd = 0.5)
    d[-c(1, 6, 15), ]
  }, "strength * dip", "batch"),
  three_levels = list(function() {
    d <- tiles(9, 5, c(10, 30, 90))
    d$strength <- c(2, 5, 8)[(d$batch - 1) %% 3 + 1]
    d$y <- 40 - 0.6 * d$strength - 0.03 * d$dip + luck(d$batch, 1.5) + rnorm(45, sd = 1.5)
    d[-c(4, 17, 18, 33, 40), ]
  }, "factor(strength) * factor(dip)", "batch"),
  three_levels_in_six = list(function() {
    d <- tiles(6, 6, c(10, 30, 90))
    d$strength <- c(2, 5, 8)[(d$batch - 1) %% 3 + 1]
    d$y <- 40 - 0.6 * d$strength - 0.03 * d$dip + luck(d$batch, 1) + rnorm(36, sd = 1.5)
    d[-c(2, 14, 15, 29, 36), ]
  }, "factor(strength) + factor(dip)", "batch"),
  three_levels_in_five = list(function() {
    d <- tiles(5, 6, c(10, 30, 90))
    d$strength <- c(2, 5, 8)[(d$batch - 1) %% 3 + 1]
    d$y <- 40 - 2 * d$strength - 0.03 * d$dip + luck(d$batch, 1) + rnorm(30, sd = 1.5)
    d[-c(2, 14, 15, 29), ]
  }, "factor(strength) + factor(dip)", "batch"),
  bend = list(function() {
    d <- tiles(8, 5, c(5, 10, 20, 40))
    d$strength <- round(c(180, 200, 220, 240)[(d$batch - 1) %% 4 + 1] + luck(d$batch, 3)) / 20 - 10.5
    d$dip <- log2(d$dip / 10) - 0.5
    d$y <- 40 - d$strength - 2 * d$dip + 0.8 * d$dip^2 + luck(d$batch, 1.5) + rnorm(40, sd = 1.2)
    d[-c(11, 12), ]
  }, "strength + I(strength^2) + dip + I(dip^2) + strength:dip", "batch"),
  # The last two are here for what R answers where its formulas break down.
  df_of_two = list(function() {
    d <- tiles(5, 6, c(10, 30, 90))
    d$strength <- c(2, 5, 8)[(d$batch - 1) %% 3 + 1]
    set.seed(6) # a draw that shows it
    d$y <- 40 - 3 * d$strength - 0.03 * d$dip + luck(d$batch, 1) + rnorm(30, sd = 1)
    d[-c(2, 4, 14, 27), ]
  }, "factor(strength) + factor(dip)", "batch"),
  session_or_batch = list(function() {
    d <- tiles(4, 6, c(-1, 1))
    d$strength <- c(-1, 1, -1, 1)[d$batch]
    d$heat <- c(-1, -1, 1, 1)[d$batch]
    d$session <- c(1, 2, 2, 1)[d$batch]
    d$y <- 40 - 0.6 * d$strength - 2 * d$dip + luck(d$batch, 0.2) + rnorm(24, sd = 1)
    d[-c(3, 10, 11), ]
  }, "strength + heat + dip", c("batch", "session"))
)

tight <- list(
  lmerControl("bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5), calc.derivs = FALSE),
  lmerControl("nloptwrap", optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-14, maxeval = 1e5), calc.derivs = FALSE),
  lmerControl("Nelder_Mead", optCtrl = list(FtolAbs = 1e-14, FtolRel = 1e-16, XtolRel = 1e-12, maxfun = 1e5),
              calc.derivs = FALSE)
)

quiet <- function(code) suppressMessages(suppressWarnings(code))

likeliest <- function(formula, data) {
  start <- NULL
  for (again in 1:2) {
    fits <- lapply(tight, function(control) quiet(lmer(formula, data, REML = TRUE, control = control, start = start)))
    found <- sapply(fits, function(fit) as.numeric(logLik(fit)))
    best <- fits[[which.max(found)]]
    start <- getME(best, "theta")
  }
  if (diff(range(found)) > 1e-7) stop("the optimisers disagree on ", deparse(formula), ": ", paste(found, collapse = " "))
  best
}

data <- NULL
told <- NULL
tell <- function(case, what, name, value, df = NA, ddf = NA, scaling = NA, p = NA) {
  told <<- rbind(told, data.frame(case, what, name, value, df, ddf, scaling, p))
}

set.seed(20261125)
for (case in names(cases)) {
  made <- cases[[case]][[1]]()
  made$y <- round(made$y, 2)
  if (is.null(made$heat)) made$heat <- NA
  fixed <- cases[[case]][[2]]
  groups <- cases[[case]][[3]]
  data <- rbind(data, cbind(case = case, made[c("tile", "batch", "session", "scorer", "strength", "heat", "dip", "y")]))
  formula <- as.formula(paste("y ~", fixed, "+", paste0("(1 | ", groups, ")", collapse = " + ")))
  fit <- likeliest(formula, made)
  variances <- as.data.frame(VarCorr(fit))
  tell(case, "model", fixed, NA)
  for (i in seq_len(nrow(variances))) tell(case, "variance", tolower(variances$grp[i]), variances$vcov[i])
  tell(case, "loglik", "", as.numeric(logLik(fit)))
  assign <- attr(getME(fit, "X"), "assign")
  for (k in setdiff(unique(assign), 0)) {
    L <- diag(length(assign))[assign == k, , drop = FALSE]
    row <- quiet(KRmodcomp(fit, L))$test["Ftest", ]
    tell(case, "test", paste(which(assign == k) - 1, collapse = " "), row$stat, row$ndf, row$ddf, row$F.scaling, row$p.value)
  }
}

versions <- paste0("# ", R.version.string, "; lme4 ", packageVersion("lme4"), ", pbkrtest ", packageVersion("pbkrtest"),
                   " (Debian). Made by generate/mixed_r.R, seed 20261125.")
write_table <- function(frame, path, about) {
  file <- file(path, "w")
  writeLines(c(versions, about), file)
  write.csv(frame, file, row.names = FALSE, quote = FALSE, na = "")
  close(file)
}
write_table(data, "../data/mixed_cases.csv", c(
  "# INVENTED data, drawn by that script: small studies in the shape of tilestudy's own. batch: which bath; y: L* or, where",
  "# several scorers graded a tile, a rub grade; strength and dip in the coding the model uses (g/L, coded, s or logarithms)."))
told$value <- sprintf(ifelse(told$what == "loglik", "%.8g", "%.6g"), told$value)
for (name in c("ddf", "scaling", "p")) told[[name]] <- ifelse(is.na(told[[name]]), "", sprintf("%.6g", told[[name]]))
told$value[told$value == "NA"] <- ""
write_table(told, "../data/mixed_r.csv", c(
  "# model: the fixed part; the groups are those with a variance. variance and loglik: lme4, REML. test: pbkrtest's",
  "# KRmodcomp that all coefficients in `name` (column numbers of the model matrix, treatment contrasts, constant = 0)",
  "# are nought: value is the scaled F."))
